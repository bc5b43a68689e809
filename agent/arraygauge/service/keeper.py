"""What the agent knows over time: incidents and measurements, written down and told once.

Two threads bring news: the main loop what the kernel says, the passes what was measured. One
book of incidents takes both.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Sequence
from functools import partial

from arraygauge.history import Channel, Clock, History, HistoryError, Memory, Outbox, Pen, Records
from arraygauge.history.dates import epoch_of
from arraygauge.history.inventory_changes import inventory_changes
from arraygauge.history.measurements import Measurements, records_of
from arraygauge.inventory.values import Host
from arraygauge.judge import Status
from arraygauge.judge.findings import Finding, Matter, Observation, Origin, agent_impaired
from arraygauge.judge.footage_watch import FootageWatch
from arraygauge.judge.incidents import Incident, IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.state import Serving, observe_state
from arraygauge.judge.writes import observe_writes
from arraygauge.service.channels import Way
from arraygauge.service.delivery import Delivering, finding_of
from arraygauge.service.drift_watch import DriftWatch
from arraygauge.service.parts import Pulse
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.incident_json import words_for

_log = logging.getLogger(__name__)

PRUNE_SECONDS = 86400.0


class Keeper:
    """The book of incidents over one history, and the messages about it.

    ``start`` before any news. ``machine_name`` signs the messages. What is too old to be kept
    whole is let go every ``prune_seconds``.
    """

    def __init__(
        self,
        history: History,
        clock: Clock,
        ways: Sequence[Way],
        machine_name: str,
        prune_seconds: float = PRUNE_SECONDS,
    ) -> None:
        self._pen = Pen(history)
        outbox = Outbox(self._pen)
        self._records = Records(self._pen, outbox)
        self._memory = Memory(self._pen, clock)
        self._measurements = Measurements(self._pen)
        self._drift = DriftWatch(self._pen, clock)
        self._channels: tuple[Channel, ...] = tuple(way.channel for way in ways)
        self._delivering = Delivering(outbox, history, [way.sender for way in ways], clock)
        self._clock = clock
        self._machine_name = machine_name
        self._book = IncidentBook()
        self._serving = Serving()
        self._footage = FootageWatch()
        self._host: Host | None = None
        self._problem: str | None = None
        self._own_findings: tuple[Finding, ...] = ()
        self._prune_seconds = prune_seconds
        self._pruned_at = 0.0
        self._lock = threading.Lock()

    def start(self) -> None:
        """Take up where the last run ended."""
        try:
            self._book = self._records.book(self._clock())
            self._serving = self._memory.recall_serving()
            self._drift.start()
        except HistoryError as error:
            _log.warning("what was known before cannot be read: %s", error.message)

    def deliver(self, pulse: Pulse) -> None:
        """Send messages until ``stop``: a part of the daemon."""
        self._delivering.run(pulse)

    def stop(self) -> None:
        """Messages not sent yet are sent after the next start."""
        self._delivering.stop()

    def tell_by(self, ways: Sequence[Way], give_up_after_seconds: float) -> None:
        """From now on by these ways; safe from any thread."""
        self._channels = tuple(way.channel for way in ways)
        self._delivering.use([way.sender for way in ways], give_up_after_seconds)

    @property
    def pen(self) -> Pen:
        """For whoever else writes into the same history."""
        return self._pen

    @property
    def open_incidents(self) -> tuple[Incident, ...]:
        """The worst first; safe from any thread."""
        return self._book.open

    @property
    def in_doubt(self) -> bool:
        """Whether the machine should be looked at again soon: something looks over; safe from
        any thread."""
        return self._book.in_doubt(Origin.STATE)

    @property
    def channel_states(self) -> tuple[ChannelState, ...]:
        """Every way of telling, as it fares now; safe from any thread."""
        return self._delivering.states

    def see_host(self, host: Host) -> None:
        """What the kernel says now."""
        with self._lock:
            observation, serving = observe_state(host, self._serving)
            self._footage = self._footage.after_look(host)
            self._advance(observation)  # whoever is to be told waits for nothing else
            if serving != self._serving:
                self._serving = serving
                self._memory.remember_serving(serving)
            self._note_inventory(host)
            self._advance(self._of_agent())
            self._take_up()

    def see_status(self, status: Status) -> None:
        """What a pass measured."""
        with self._lock:
            self._measurements.add(records_of(status))
            self._take_up()
            drift = self._drift.see_status(status)
            self._footage = self._footage.after_pass(status)
            slower = [each for each in drift.findings if each.matter is Matter.DRIFT]
            drifting = {each.cause.stable_id for each in slower}
            self._advance(observe_status(status, drifting, self._drift.strays(status)))
            self._advance(drift)
            if status.writes:
                self._advance(observe_writes(status))
            self._prune()

    def see(self, observation: Observation) -> None:
        """What any other part of the agent found."""
        with self._lock:
            self._advance(observation)

    def see_trouble(self, problem: str | None) -> None:
        """That the kernel cannot be watched, or (None) that it can again."""
        with self._lock:
            self._problem = problem
            self._advance(self._of_agent())

    def see_agent(self, findings: Sequence[Finding]) -> None:
        """What is the matter with the agent's own parts and configuration, all of it."""
        with self._lock:
            self._own_findings = tuple(findings)
            self._advance(self._of_agent())

    def _advance(self, observation: Observation) -> None:
        now = self._clock()
        self._book, changes = advance(
            self._book, observation, now.uptime_seconds, self._footage.observe
        )
        words = partial(words_for, self._machine_name, epoch_of(now).date_of)
        self._records.record(changes, words, self._channels, now)

    def _take_up(self) -> None:
        """What a person says is right is no incident any more, before the next pass."""
        accepted = self._drift.take_up()
        if accepted is not None:
            self._advance(accepted)

    def _note_inventory(self, host: Host) -> None:
        if self._host is not None:
            changes = inventory_changes(self._host, host)
            if changes:
                self._records.note_inventory(changes, self._clock())
        self._host = host

    def _of_agent(self) -> Observation:
        """The agent's own health: channels and parts that fail, a disk that takes nothing, a
        configuration that is not in use, no watching."""
        findings = [finding_of(state) for state in self._delivering.troubles]
        findings += self._own_findings
        if self._pen.problem is not None:
            findings.append(agent_impaired("agent history", "the history", facts=self._pen.problem))
        if self._problem is not None:
            findings.append(
                agent_impaired("agent watching", "watching the kernel", facts=self._problem)
            )
        return Observation(origin=Origin.AGENT, findings=tuple(findings))

    def _prune(self) -> None:
        now = self._clock().uptime_seconds
        if now - self._pruned_at > self._prune_seconds:
            self._pruned_at = now
            self._measurements.prune()
            self._records.prune()
        self._records.note_seen(self._book.open, self._clock())
