"""The passive watch of a running agent: reads the kernel's counters and sends no command to a
drive.

At rest it looks every two seconds, at work twice a second, and four times while requests wait
and none completes (``judge.passive.hangs``).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from typing import Protocol

from arraygauge.config import Configuration
from arraygauge.history.stalls import StallRecord
from arraygauge.inventory.counters import CounterReader, IoCounters
from arraygauge.inventory.values import Host
from arraygauge.judge.passive import (
    PassiveWatch,
    Stall,
    Watched,
    causes_watched,
    observe_hangs,
    observe_members,
    scopes_of,
    suspected,
    touched,
    watch_array,
)
from arraygauge.judge.passive.hangs import AT_REST_SECONDS
from arraygauge.judge.passive.scope import Body
from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.stop import StopToken
from arraygauge.probe.suspension import NOTICED_SECONDS, suspended_seconds
from arraygauge.service.parts import Pulse
from arraygauge.service.passive_telling import News
from arraygauge.values import frozen

RESUME_SECONDS = 30.0
"""After a sleep of the machine drives start again, which is no fault of theirs."""
QUIET_SECONDS = 10.0
"""An array that rested for so long can be probed without being in anybody's way."""
ASK_AGAIN_SECONDS = 3600.0
BUSY_SECONDS = 30.0

Seconds = Callable[[], float]


class Counters(Protocol):
    """The counters of some devices, as ``CounterReader`` reads the kernel's."""

    def read(self) -> dict[str, IoCounters | None]: ...

    def close(self) -> None: ...


OpenCounters = Callable[[Sequence[str]], Counters]
"""By the devices' names."""


@frozen
class Clocks:
    """``monotonic`` rests while the machine is suspended, for ``suspended`` seconds so far;
    ``wall`` gives dates."""

    monotonic: Seconds = time.monotonic
    suspended: Seconds = suspended_seconds
    wall: Seconds = time.time


class PassiveWatcher:
    """A part of the daemon. ``on_news`` gets what each look found, and must not wait for
    anything; ``on_suspicion`` is called, at most once an hour, when a probe would tell whether
    a member is slow and its array is at rest. ``see_host`` and ``watched`` are for any thread.
    """

    def __init__(
        self,
        stop: StopToken,
        configuration: Configuration,
        own_probes: OwnProbes,
        *,
        on_news: Callable[[News], None],
        on_suspicion: Callable[[], None],
        clocks: Clocks | None = None,
        counters: OpenCounters = CounterReader,
    ) -> None:
        self._stop = stop
        self._configuration = configuration
        self._own_probes = own_probes
        self._on_news = on_news
        self._on_suspicion = on_suspicion
        self._clocks = clocks or Clocks()
        self._open_counters = counters
        self._lock = threading.Lock()
        self._fresh: Host | None = None
        self._host: Host | None = None
        self._watched: dict[str, Watched] = {}
        self._bodies: frozenset[Body] = frozenset()
        self._reader = counters(())
        self._suspended = self._clocks.suspended()
        self._deaf_until = -float("inf")
        self._asked_at = -float("inf")

    def see_host(self, host: Host) -> None:
        """The machine as it is now; followed from the next look on."""
        with self._lock:
            self._fresh = host

    def reconfigure(self, configuration: Configuration) -> None:
        """From the next look on."""
        with self._lock:
            self._configuration = configuration
            self._fresh = self._fresh or self._host

    @property
    def watched(self) -> tuple[Watched, ...]:
        """Each array with what the watch over it has seen by now."""
        return tuple(self._watched.values())

    def run(self, pulse: Pulse) -> None:
        """Look after look until told to stop; may be called again after it failed."""
        wait = 0.0
        with self._lock:
            self._fresh = self._fresh or self._host
        try:
            while not self._stop.wait(wait):
                pulse.busy(BUSY_SECONDS)
                began = self._clocks.monotonic()
                wanted = self.look()
                wait = max(0.0, began + wanted - self._clocks.monotonic())
                pulse.well()
        finally:
            self._reader.close()
            self._bodies = frozenset()

    def look(self) -> float:
        """One look; seconds until the next is wanted."""
        moment = self._clocks.monotonic()
        self._follow_host()
        probed = self._probed()
        readings = self._reader.read()
        deaf = self._is_deaf(moment)
        self._watched = {
            array_id: _read(each, moment, readings, probed, deaf=deaf)
            for array_id, each in self._watched.items()
        }
        if self._host is not None:
            self._on_news(self._news(self._host, moment))
            self._ask(moment)
        return min((watch.wanted_seconds for _, watch in self.watched), default=AT_REST_SECONDS)

    def _follow_host(self) -> None:
        """Watches go on for arrays whose members and roles are as they were."""
        with self._lock:
            fresh, self._fresh = self._fresh, None
            configuration = self._configuration
        if fresh is None:
            return
        before = self._watched
        self._host = fresh
        self._watched = {
            scope.array_id: before[scope.array_id]
            if scope.array_id in before and before[scope.array_id][0] == scope
            else (scope, watch_array(scope.groups))
            for scope in scopes_of(fresh, configuration.uplinks)
        }
        bodies = frozenset(body for scope, _ in self.watched for _, body in scope.bodies)
        if bodies != self._bodies:
            self._reader.close()
            self._bodies = bodies
            self._reader = self._open_counters(sorted(body.name for body in bodies))

    def _probed(self) -> frozenset[str]:
        names = self._own_probes.take()
        return touched(self._host, names) if names and self._host is not None else names

    def _is_deaf(self, moment: float) -> bool:
        """Whether the machine has slept since the last look, or a moment ago."""
        suspended = self._clocks.suspended()
        if suspended - self._suspended > NOTICED_SECONDS:
            self._deaf_until = moment + RESUME_SECONDS
        self._suspended = suspended
        return moment < self._deaf_until

    def _news(self, host: Host, moment: float) -> News:
        return News(
            observations=(
                observe_hangs(host, self.watched, self._frames_per_second),
                observe_members(host, self.watched),
            ),
            causes=causes_watched(self.watched),
            stalls=self._ended_stalls(moment),
        )

    @property
    def _frames_per_second(self) -> float:
        return self._configuration.watching.frames_per_second

    def _ended_stalls(self, moment: float) -> tuple[StallRecord, ...]:
        """One for each drive, of however many arrays it is a member."""
        started_at = self._clocks.wall() - moment
        found: dict[str, StallRecord] = {}
        for scope, watch in self.watched:
            bodies = dict(scope.bodies)
            for stall in watch.stalls:
                body = bodies.get(stall.device)
                if stall.over and body is not None and body.is_drive:
                    found[body.stable_id] = self._record(body, stall, started_at)
        return tuple(found.values())

    def _record(self, body: Body, stall: Stall, started_at_seconds: float) -> StallRecord:
        return StallRecord(
            stable_id=body.stable_id,
            name=body.name,
            began_at_seconds=started_at_seconds + stall.began_at_seconds,
            milliseconds=stall.milliseconds,
            error_milliseconds=round(stall.error_seconds * 1000),
            in_flight=stall.in_flight,
            hang=stall.hang,
            frames_per_second=self._frames_per_second,
        )

    def _ask(self, moment: float) -> None:
        """A probe gives way to whoever works: only an array at rest can be probed."""
        if moment - self._asked_at < ASK_AGAIN_SECONDS:
            return
        if any(suspected(watch) and _rests(watch, moment) for _, watch in self.watched):
            self._asked_at = moment
            self._on_suspicion()


def _read(
    watched: Watched,
    moment: float,
    readings: dict[str, IoCounters | None],
    probed: frozenset[str],
    *,
    deaf: bool,
) -> Watched:
    """The watch after a look at the counters of its members' bodies."""
    scope, watch = watched
    by_member = {name: readings.get(body.name) for name, body in scope.bodies}
    by_probe = frozenset(
        name for name, body in scope.bodies if name in probed or body.name in probed
    )
    before = watch.after_gap() if deaf else watch
    return scope, before.with_readings(moment, by_member, by_probe)


def _rests(watch: PassiveWatch, moment: float) -> bool:
    return all(each.at_rest_for(moment) >= QUIET_SECONDS for each in watch.hangs)
