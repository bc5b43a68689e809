"""What the passive watch found goes to the keeper and the history, in a thread of its own.

Writing may take long, for as long as the history's own drive hangs; the watch goes on meanwhile.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import replace

from arraygauge.history.stalls import StallRecord, Stalls
from arraygauge.judge.findings import Observation, Origin
from arraygauge.judge.incidents import Incident
from arraygauge.probe.stop import StopToken
from arraygauge.service.bell import Bell, wait_for
from arraygauge.service.keeper import Keeper
from arraygauge.service.parts import Pulse
from arraygauge.values import frozen

AGAIN_SECONDS = 10.0
"""Between two words on something that has not changed, while it is an open incident."""
STALLS_SECONDS = 10.0
"""Stalls that were no hangs wait for so long to be written down together: to write them makes
work for a drive, which might stall."""
MOST_STALLS = 1000
"""Held in memory while nothing can be written; the oldest are let go."""
BUSY_SECONDS = 60.0


@frozen
class News:
    """What one look found: ``observations`` as they are now, ``causes`` all that it could find
    anything on, ``stalls`` those that ended."""

    observations: tuple[Observation, ...]
    causes: frozenset[str]
    stalls: tuple[StallRecord, ...] = ()

    @property
    def gist(self) -> frozenset[tuple[str, ...]]:
        """What makes them worth telling again."""
        return frozenset(
            (each.cause.stable_id, str(each.matter), str(each.severity), each.signature)
            for observation in self.observations
            for each in observation.findings
        )


class PassiveTelling:
    """A part of the daemon. ``offer`` is for the watching thread and never waits."""

    def __init__(
        self,
        keeper: Keeper,
        stalls: Stalls,
        stop: StopToken,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._keeper = keeper
        self._stalls = stalls
        self._stop = stop
        self._clock = clock
        self._bell = Bell()
        self._lock = threading.Lock()
        self._observations: tuple[Observation, ...] = ()
        self._ended: list[StallRecord] = []
        self._write_at = float("inf")
        self._gist: frozenset[tuple[str, ...]] = frozenset()
        self._offered_at = -float("inf")

    def offer(self, news: News) -> None:
        """Tell what is new, at once, and now and then that nothing is."""
        now, gist = self._clock(), news.gist
        with self._lock:
            self._keep(news.stalls, now)
            again = now - self._offered_at >= AGAIN_SECONDS
            is_open = _open_causes(self._keeper.open_incidents) if again else frozenset()
            if gist == self._gist and not (again and (gist or is_open)):
                return
            # Nobody else can say that what is not watched any more is over.
            stale = is_open - news.causes
            self._observations = tuple(_speaking_for(each, stale) for each in news.observations)
            self._gist, self._offered_at = gist, now
            self._bell.ring()

    def run(self, pulse: Pulse) -> None:
        """Until told to stop."""
        while not self._stop.is_set():
            pulse.rest()
            wait_for((self._stop, self._bell), self._seconds_left())
            pulse.busy(BUSY_SECONDS)
            self._bell.answer()
            self.tell()
            pulse.well()

    def tell(self) -> None:
        """Hand over what there is."""
        with self._lock:
            observations, self._observations = self._observations, ()
            ended: list[StallRecord] = []
            if self._clock() >= self._write_at:
                ended, self._ended, self._write_at = self._ended, [], float("inf")
        for observation in observations:
            self._keeper.see(observation)
        if ended:
            self._stalls.add(ended)

    def _keep(self, stalls: Iterable[StallRecord], now: float) -> None:
        for each in stalls:
            self._ended = [*self._ended, each][-MOST_STALLS:]
            self._write_at = now if each.hang else min(self._write_at, now + STALLS_SECONDS)
            self._bell.ring()

    def _seconds_left(self) -> float | None:
        with self._lock:
            return None if not self._ended else max(self._write_at - self._clock(), 0.0)


def _open_causes(incidents: Iterable[Incident]) -> frozenset[str]:
    """Those on which an open incident has a word of the passive watch."""
    return frozenset(
        each.finding.cause.stable_id
        for each in incidents
        if any(one.origin is Origin.PASSIVE for one in (each.finding, *each.finding.also))
    )


def _speaking_for(observation: Observation, causes: frozenset[str]) -> Observation:
    if not causes or observation.looked_at is None:
        return observation
    return replace(observation, looked_at=observation.looked_at | causes)
