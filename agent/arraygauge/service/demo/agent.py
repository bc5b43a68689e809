"""The parts of a real agent over the invented workstation, with time that passes when told to.

Passes, looks at the kernel's word and the passive watch happen one after the other in one thread,
each at its own moment of the story; judge, history and tell are those of `arraygauge run`.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from math import floor

from arraygauge import __version__
from arraygauge.config import Configuration
from arraygauge.history import History, Ledger
from arraygauge.history.incident_log import LoggedChange, logged_incidents
from arraygauge.history.stalls import Stalls
from arraygauge.judge import Status
from arraygauge.judge.passive import Watched
from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.stop import StopToken
from arraygauge.service.budget_uses import budget_uses
from arraygauge.service.demo.bays import SHELVES
from arraygauge.service.demo.clock import DAY_SECONDS, SimulatedClock
from arraygauge.service.demo.counters import InventedCounters, Work
from arraygauge.service.demo.folder import BANNER
from arraygauge.service.demo.machine import HOST_NAME
from arraygauge.service.demo.story import Freeze, freezes, turns
from arraygauge.service.demo.surveying import InventedSurveyor
from arraygauge.service.keeper import Keeper
from arraygauge.service.page_known import PageKnowledge
from arraygauge.service.passive_telling import PassiveTelling
from arraygauge.service.passive_watch import Clocks, PassiveWatcher
from arraygauge.service.purse import Purse
from arraygauge.tell.metrics import StatusCollector
from arraygauge.tell.passive_json import watching_document
from arraygauge.values import frozen

SECOND_LOOK_SECONDS = 5.0
"""After the kernel had news: what looks over needs to look so twice."""
PRUNE_SECONDS = 7 * DAY_SECONDS
"""A real agent prunes its history once a day; in a simulated year that would take as long as the
whole rest."""
MOST_CLOSED = 20
"""Far more incidents than can end at one moment of the story."""
WORK_BEFORE_SECONDS = 60.0
WORK_AFTER_SECONDS = 150.0
"""Long enough for the watch to find that the drive answers again and goes on doing so."""


@frozen
class _Event:
    """Something that happens on a day."""

    day: float
    happen: Callable[[], None]


OnChange = Callable[[LoggedChange], None]


def _unheard(change: LoggedChange) -> None:
    """Nobody listens."""


class InventedAgent:
    """An agent that nobody need wait for. ``on_change`` gets every change of an incident that
    would be told, with the incident as it then is."""

    def __init__(
        self,
        history: History,
        configuration: Configuration,
        clock: SimulatedClock,
        *,
        seed: int,
        on_change: OnChange = _unheard,
    ) -> None:
        self.configuration = configuration
        self.clock = clock
        self.purse = Purse(Ledger(history, clock), configuration.budget.limits(), history, clock)
        self.keeper = Keeper(history, clock, (), HOST_NAME, PRUNE_SECONDS)
        self.collector = StatusCollector(build=f"{__version__} simulated")
        self.knowledge = PageKnowledge(
            HOST_NAME,
            history,
            notice=f"{BANNER}. Nothing here was measured, and time is sped up.",
            clock=lambda: clock.wall_seconds,
            seen=lambda: watching_document(self.watched),
        )
        self.status: Status | None = None
        self._on_change = on_change
        self._heard: dict[int, int] = {}
        self._gist: tuple[tuple[int, float], ...] = ()
        self._surveyor = InventedSurveyor(configuration, self.purse, clock, seed)
        stop = StopToken()
        self._telling = PassiveTelling(
            self.keeper, Stalls(self.keeper.pen), stop, lambda: clock.uptime_seconds
        )
        self._counters = InventedCounters(clock=lambda: clock.uptime_seconds)
        self._passive = PassiveWatcher(
            stop,
            configuration,
            OwnProbes(),
            on_news=self._telling.offer,
            on_suspicion=lambda: None,
            clocks=Clocks(
                monotonic=lambda: clock.uptime_seconds,
                suspended=lambda: 0.0,
                wall=lambda: clock.wall_seconds,
            ),
            counters=self._counters.open,
        )
        self.collector.publish_interval(configuration.run.interval_seconds)
        self.keeper.start()

    @property
    def watched(self) -> tuple[Watched, ...]:
        """What the passive watch has seen."""
        return self._passive.watched

    def live_until(self, day: float, stop: StopToken) -> None:
        """All that happens until then, or until told to stop."""
        before = self.status
        for event in self._events(self.clock.day, day):
            if stop.is_set():
                return
            self.clock.advance_to(event.day)
            event.happen()
        self.clock.advance_to(day)
        if self.status is not None and self.status is not before:
            uses = budget_uses(self.purse, self.status.host)
            self.collector.publish_budget(uses)
            self.knowledge.see_budget(uses, self.purse.limits)

    def _events(self, after: float, until: float) -> Iterator[_Event]:
        """In order; of those at one moment the kernel's news first."""
        every = self.configuration.run.interval_seconds / DAY_SECONDS
        first, last = floor(after / every) + 1, floor(until / every)
        return heapq.merge(
            (_Event(day=day, happen=self._look_twice) for day in turns(after, until)),
            (
                _Event(
                    day=each.at - WORK_BEFORE_SECONDS / DAY_SECONDS,
                    happen=lambda freeze=each: self._work(freeze),  # type: ignore[misc]
                )
                for each in freezes(after, until)
            ),
            (_Event(day=number * every, happen=self._pass) for number in range(first, last + 1)),
            key=lambda event: event.day,
        )

    def _pass(self) -> None:
        self._look()
        status = self._surveyor.survey()
        self.status = status
        self.collector.publish(status)
        self.knowledge.see_status(status, self._surveyor.grounds)
        self.keeper.see_status(status)
        self._publish()

    def _look_twice(self) -> None:
        self._look()
        self.clock.advance_to(self.clock.day + SECOND_LOOK_SECONDS / DAY_SECONDS)
        self._look()

    def _look(self) -> None:
        host = self._surveyor.look()
        self.keeper.see_host(host)
        self._passive.see_host(host)
        self.collector.publish_host(host)
        self.knowledge.see_host(host)
        self._watch()

    def _watch(self) -> float:
        """One look of the passive watch; seconds until it wants the next."""
        wanted = self._passive.look()
        self._telling.tell()
        self._publish()
        return wanted

    def _publish(self) -> None:
        open_now = self.keeper.open_incidents
        self.collector.publish_incidents(open_now)
        self.collector.note_heartbeat(self.clock.wall_seconds)
        gist = tuple((each.number, each.told) for each in open_now)
        if gist != self._gist:
            self._gist = gist
            self._tell_changes()

    def _tell_changes(self) -> None:
        fresh: list[LoggedChange] = []
        for incident in logged_incidents(self.purse.history, MOST_CLOSED):
            heard = self._heard.get(incident.number, 0)
            fresh += incident.changes[heard:]
            self._heard[incident.number] = len(incident.changes)
        for change in sorted(fresh, key=lambda each: each.at_seconds):
            self._on_change(change)

    def _work(self, freeze: Freeze) -> None:
        """Somebody works on the array of a drive that freezes, and the watch looks on."""
        begins = self.clock.uptime_seconds
        freezes_at = begins + WORK_BEFORE_SECONDS
        ends = freezes_at + freeze.seconds + WORK_AFTER_SECONDS
        shelf = next(each for each in SHELVES if freeze.bay in each.bays)
        self._look()
        self._counters.work = Work(
            bays=frozenset(shelf.bays),
            begins=begins,
            ends=ends,
            frozen=freeze.bay,
            freezes=freezes_at,
            thaws=freezes_at + freeze.seconds,
        )
        while self.clock.uptime_seconds < ends:
            wanted = self._watch()
            self.clock.advance_to(self.clock.day + wanted / DAY_SECONDS)
