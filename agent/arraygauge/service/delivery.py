"""A part of the daemon: sends what the outbox holds, in order, until it arrives.

Messages of one incident to one channel are sent one after the other, so that the news that it is
over never overtakes the news that it began. A channel that failed is left alone for a while,
longer each time, over restarts as well; others go on. What was tried for too long is given up,
which ``Delivering.troubles`` shows.
"""

from __future__ import annotations

import json
import logging
import random
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from arraygauge.history import Clock, Delivery, History, HistoryError, Moment, Outbox, Sent
from arraygauge.history.silences import Silence, is_silent, silences_at
from arraygauge.judge.findings import Finding, Severity, agent_impaired
from arraygauge.judge.incidents import ChangeKind
from arraygauge.service.parts import Pulse
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.sender import Message, Sender, SendingError

_log = logging.getLogger(__name__)

FIRST_WAIT_SECONDS = 1.0
LONGEST_WAIT_SECONDS = 900.0
GIVE_UP_AFTER_SECONDS = 3 * 86400.0
LATELY_SECONDS = 7200.0
"""Longer than any wait between two attempts."""
SENDING_SECONDS = 300.0
"""Longer than sending one message can take, the look-up of a name included."""
LOOK_AGAIN_SECONDS = 60.0
"""How long to rest when nothing is due: a silence may have been set by another process."""


class Delivering:
    """Sends until stopped. ``chance`` gives numbers from 0 to 1 for the jitter."""

    def __init__(
        self,
        outbox: Outbox,
        history: History,
        senders: Sequence[Sender],
        clock: Clock,
        *,
        give_up_after_seconds: float = GIVE_UP_AFTER_SECONDS,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._outbox = outbox
        self._history = history
        self._senders = {sender.name: sender for sender in senders}
        self._clock = clock
        self._give_up_after = give_up_after_seconds
        self._chance = chance
        self._states: Mapping[str, ChannelState] = {
            name: ChannelState(channel=name) for name in self._senders
        }
        self._resting: dict[str, tuple[Moment, float]] = {}
        self._worked: dict[str, Moment] = {}
        self._stopping = threading.Event()
        self._pulse: Pulse | None = None

    @property
    def states(self) -> tuple[ChannelState, ...]:
        """Every channel, as it fares now; safe from any thread."""
        return tuple(self._states.values())

    @property
    def troubles(self) -> tuple[ChannelState, ...]:
        """Channels that fail, for a finding about the agent itself."""
        return tuple(state for state in self.states if state.troubled)

    def stop(self) -> None:
        """Have ``run`` end after the message being sent; one that is left behind is sent again
        after the next start."""
        self._stopping.set()
        self._outbox.added.set()

    def run(self, pulse: Pulse) -> None:
        """Until stopped."""
        self._pulse = pulse
        while not self._stopping.is_set():
            pulse.busy(SENDING_SECONDS)
            self._outbox.added.clear()
            try:
                rest = self.send_due()
            except HistoryError as error:
                _log.warning("what is to be sent cannot be read: %s", error.message)
                rest = LOOK_AGAIN_SECONDS
            pulse.well()
            pulse.rest()
            self._outbox.added.wait(rest)

    def use(self, senders: Sequence[Sender], give_up_after_seconds: float) -> None:
        """From the next message on; safe from any thread."""
        self._give_up_after = give_up_after_seconds
        self._senders = {sender.name: sender for sender in senders}
        before = self._states
        self._states = {
            name: before.get(name, ChannelState(channel=name)) for name in self._senders
        }
        self._outbox.added.set()

    def send_due(self) -> float:
        """Send what is due; seconds until there may be more. Raises HistoryError."""
        silences = silences_at(self._history, self._clock().wall_seconds)
        lanes = self._outbox.lanes()
        self._count(lanes)
        rest = LOOK_AGAIN_SECONDS
        for lane in sorted(lanes, key=self._urgency):
            if self._stopping.is_set():
                break
            rest = min(rest, self._lane(lane, silences))
        return max(rest, 0.05)

    def _urgency(self, lane: tuple[Delivery, ...]) -> tuple[int, int]:
        """Channels that work first, so that one that times out holds up none of them."""
        state = self._states.get(lane[0].channel)
        return (state.failures if state else 0), lane[0].change

    def _lane(self, lane: tuple[Delivery, ...], silences: Sequence[Silence]) -> float:
        """Send the messages of one lane until one of them must wait; seconds until it may."""
        silenced = False
        for index, delivery in enumerate(lane):
            if self._stopping.is_set():
                return LOOK_AGAIN_SECONDS
            silenced = silenced or delivery.withheld
            wait = self._one(replace(delivery, withheld=silenced), lane[index + 1 :], silences)
            if wait is not None:
                return wait
        return LOOK_AGAIN_SECONDS

    def _one(
        self, delivery: Delivery, later: tuple[Delivery, ...], silences: Sequence[Silence]
    ) -> float | None:
        """None when the message is off the list, else seconds until it is due."""
        now = self._clock()
        if self._is_hopeless(delivery, now):
            self._give_up(delivery)
            return None
        if is_silent(silences, delivery.cause_id):
            if not delivery.withheld:
                self._outbox.update(replace(delivery, withheld=True))
            return LOOK_AGAIN_SECONDS
        if delivery.withheld and self._is_stale(delivery, later):
            self._outbox.update(replace(delivery, outcome=Sent.SUPERSEDED))
            return None
        sender = self._senders.get(delivery.channel)
        if sender is None:
            return LOOK_AGAIN_SECONDS
        wait = max(self._due_in(delivery, now), self._rest_left(delivery.channel, now))
        return wait if wait > 0 else self._send(sender, delivery)

    def _is_hopeless(self, delivery: Delivery, now: Moment) -> bool:
        """Tried for too long; what grew old while the machine slept or was off is tried first."""
        if now.age_of(delivery.queued) <= self._give_up_after:
            return False
        if delivery.channel not in self._senders:
            return True
        return delivery.tried is not None and now.age_of(delivery.tried) <= LATELY_SECONDS

    def _due_in(self, delivery: Delivery, now: Moment) -> float:
        """At once where the channel has worked since: what kept the message back is over."""
        worked = self._worked.get(delivery.channel)
        if worked is None or delivery.tried is None:
            return delivery.due_in(now)
        since = now.age_of(worked) < now.age_of(delivery.tried)
        return 0.0 if since else delivery.due_in(now)

    def _is_stale(self, delivery: Delivery, later: tuple[Delivery, ...]) -> bool:
        """After a silence only the latest is told, and no end of what nobody was told of."""
        if later:
            return True
        return delivery.kind is ChangeKind.CLOSED and not self._outbox.was_delivered(delivery.lane)

    def _send(self, sender: Sender, delivery: Delivery) -> float | None:
        if self._pulse is not None:
            self._pulse.busy(SENDING_SECONDS)
        try:
            sender.send(message_of(delivery))
        except SendingError as error:
            return self._failed(delivery, error)
        now = self._clock()
        self._resting.pop(sender.name, None)
        self._worked[sender.name] = now
        self._outbox.update(
            replace(
                delivery,
                attempts=delivery.attempts + 1,
                tried=now,
                outcome=Sent.DELIVERED,
                last_error=None,
            )
        )
        state = self._state(sender.name)
        if state.failures:
            self._outbox.added.set()  # others that waited for it need wait no more
        self._note(replace(state, failures=0, delivered=state.delivered + 1, last_error=None))
        return None

    def _failed(self, delivery: Delivery, error: SendingError) -> float:
        now = self._clock()
        state = self._state(delivery.channel)
        wait = error.wait_seconds or self._backoff(max(delivery.attempts, state.failures))
        self._resting[delivery.channel] = (now, wait)
        self._outbox.update(
            replace(
                delivery,
                attempts=delivery.attempts + 1,
                tried=now,
                wait_seconds=wait,
                last_error=error.why,
            )
        )
        self._note(replace(state, failures=state.failures + 1, last_error=error.why))
        _log.warning("a message to '%s' did not arrive: %s", delivery.channel, error.why)
        return wait

    def _backoff(self, attempts: int) -> float:
        """Twice as long each time, less up to half of it by chance: not all at once again."""
        longest = min(FIRST_WAIT_SECONDS * 2.0 ** min(attempts, 20), LONGEST_WAIT_SECONDS)
        return longest * (1.0 - self._chance() / 2)

    def _rest_left(self, channel: str, now: Moment) -> float:
        """A channel that just failed is left alone by all its messages."""
        if channel not in self._resting:
            return 0.0
        since, seconds = self._resting[channel]
        return seconds - now.age_of(since)

    def _give_up(self, delivery: Delivery) -> None:
        self._outbox.update(replace(delivery, outcome=Sent.GIVEN_UP))
        state = self._states.get(delivery.channel)
        if state is not None:
            self._note(replace(state, given_up=state.given_up + 1))
        _log.error(
            "a message to '%s' was given up: %s", delivery.channel, delivery.last_error or "no try"
        )

    def _count(self, lanes: Sequence[tuple[Delivery, ...]]) -> None:
        waiting: dict[str, int] = dict.fromkeys(self._senders, 0)
        for lane in lanes:
            waiting[lane[0].channel] = waiting.get(lane[0].channel, 0) + len(lane)
        before = self._states
        self._states = {
            name: replace(
                before.get(name, ChannelState(channel=name, known=name in self._senders)),
                waiting=count,
            )
            for name, count in waiting.items()
        }

    def _state(self, channel: str) -> ChannelState:
        return self._states.get(channel) or ChannelState(channel=channel)

    def _note(self, state: ChannelState) -> None:
        self._states = {**self._states, state.channel: state}


def message_of(delivery: Delivery) -> Message:
    """What is sent. A kill between sending and noting so sends it twice: ``message_id`` stays
    the same, so that the other side can tell."""
    return {**json.loads(delivery.document), "message_id": f"{delivery.token:016x}"}


def finding_of(state: ChannelState) -> Finding:
    """That a channel fails, for an observation of the agent itself (``Origin.AGENT``)."""
    lost = state.given_up > 0
    return agent_impaired(
        f"channel {state.channel}",
        f"telling by {state.channel}",
        facts=state,
        signature="given up" if lost else "failing",
        severity=Severity.MAJOR if lost else Severity.MINOR,
    )
