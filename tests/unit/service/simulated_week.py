"""A daemon's days, sped up: its keeper with incidents, drift and history, and its passive watch.

An invented machine of one array of six drives and clocks that only the simulation moves. Each
hour has a pass, then ``looks_an_hour`` looks at the counters half a second apart, with work going
on; then the array rests, and each five minutes there is a look at all. Each day one member fails
and is back ten minutes later, another stalls for eight seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Self

from arraygauge.config import Configuration
from arraygauge.history import Moment, open_history
from arraygauge.history.incident_log import LoggedIncident, logged_incidents
from arraygauge.history.stalls import Stalls
from arraygauge.inventory.counters import IoCounters
from arraygauge.inventory.values import Level
from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.stop import StopToken
from arraygauge.service.keeper import Keeper
from arraygauge.service.passive_telling import PassiveTelling
from arraygauge.service.passive_watch import Clocks, PassiveWatcher
from invented import FAILED
from unit.judge.drifting_machine import BEGAN, Machine

NAMES = ("sda", "sdb", "sdc", "sdd", "sde", "sdf")
HOUR, REST_LOOK_SECONDS, LOOK_SECONDS = 3600.0, 300.0, 0.5
FAILS_AT, MENDED_AT = 3 * HOUR, 3 * HOUR + 600
STALLS_AT, STALL_LOOKS, FIRST_LOOK = 5 * HOUR, 16, 20


@dataclass(slots=True)
class Counted:
    """The counters of all drives. At work each completes some reads in a look; one that stalls
    holds a request and completes none."""

    chance: Random
    stalled: str | None = None
    totals: dict[str, IoCounters] = field(
        default_factory=lambda: {name: nothing() for name in NAMES}
    )

    def work(self, seconds: float) -> None:
        for name, before in self.totals.items():
            self.totals[name] = self._worked(name, before, seconds)

    def rest(self) -> None:
        for name, before in self.totals.items():
            self.totals[name] = replace(before, in_flight=0)

    def open(self, names: Sequence[str]) -> Reading:
        return Reading(self.totals, tuple(names))

    def _worked(self, name: str, before: IoCounters, seconds: float) -> IoCounters:
        if name == self.stalled:
            return replace(
                before,
                in_flight=1,
                busy_seconds=before.busy_seconds + seconds,
                weighted_seconds=before.weighted_seconds + seconds,
            )
        reads = round(self.chance.uniform(80, 120) * seconds)
        took = sum(self.chance.uniform(0.003, 0.005) for _ in range(reads))
        return replace(
            before,
            reads=before.reads + reads,
            read_bytes=before.read_bytes + 131072 * reads,
            read_seconds=before.read_seconds + took,
            in_flight=1,
            busy_seconds=before.busy_seconds + min(took, seconds),
            weighted_seconds=before.weighted_seconds + took,
        )


@dataclass(frozen=True, slots=True)
class Reading:
    """As ``CounterReader`` is to the watch."""

    totals: dict[str, IoCounters]
    names: tuple[str, ...]

    def read(self) -> dict[str, IoCounters | None]:
        return {name: self.totals.get(name) for name in self.names}

    def close(self) -> None:
        """Nothing is open."""


class Days:
    """One agent and its invented machine, day after day; in a ``with`` block."""

    def __init__(self, folder: Path, looks_an_hour: int) -> None:
        self._looks = looks_an_hour
        self._machine = Machine(names=NAMES, level=Level.RAID5)
        self._counted = Counted(Random(1))
        self._now = 0.0
        self._day = 0
        self._stop = StopToken()
        self._history = open_history(folder / "history.sqlite")
        self.keeper = Keeper(self._history, self._moment, (), "invented")
        self.keeper.start()
        self._telling = PassiveTelling(
            self.keeper, Stalls(self.keeper.pen), self._stop, clock=lambda: self._now
        )
        self._watch = PassiveWatcher(
            self._stop,
            Configuration(),
            OwnProbes(),
            on_news=self._telling.offer,
            on_suspicion=lambda: None,
            clocks=Clocks(
                monotonic=lambda: self._now,
                suspended=lambda: 0.0,
                wall=lambda: BEGAN + self._now,
            ),
            counters=self._counted.open,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.keeper.stop()
        self._history.close()
        self._stop.close()

    @property
    def told(self) -> tuple[LoggedIncident, ...]:
        """Every incident there was."""
        return logged_incidents(self._history, 1000)

    def live(self) -> None:
        """One more day."""
        for hour in range(24):
            self._hour(hour * HOUR)
        self._day += 1

    def _hour(self, of_day: float) -> None:
        began = self._now
        self._counted.stalled = None
        self._see_status()
        for look in range(self._looks):
            stalls = of_day == STALLS_AT and FIRST_LOOK <= look < FIRST_LOOK + STALL_LOOKS
            self._counted.stalled = self._of_day(1) if stalls else None
            self._counted.work(LOOK_SECONDS)
            self._look(LOOK_SECONDS)
        self._counted.rest()
        while self._now < began + HOUR:
            self._look(REST_LOOK_SECONDS)
            self._see_host(of_day + self._now - began)

    def _look(self, seconds: float) -> None:
        self._now += seconds
        self._watch.look()
        self._telling.tell()

    def _see_host(self, of_day: float) -> None:
        failed = FAILS_AT <= of_day < MENDED_AT
        self._machine.members = {self._of_day(0): FAILED} if failed else {}
        host = replace(self._machine.host, taken_at_seconds=BEGAN + self._now)
        self.keeper.see_host(host)
        self._watch.see_host(host)

    def _see_status(self) -> None:
        self._machine.members = {}
        self.keeper.see_status(self._machine.status())

    def _of_day(self, other: int) -> str:
        return NAMES[(self._day + other) % len(NAMES)]

    def _moment(self) -> Moment:
        return Moment(
            wall_seconds=BEGAN + self._now, uptime_seconds=self._now, boot_id="an-invented-boot"
        )


def nothing() -> IoCounters:
    return IoCounters(
        reads=0,
        read_bytes=0,
        read_seconds=0.0,
        writes=0,
        written_bytes=0,
        write_seconds=0.0,
        in_flight=0,
        busy_seconds=0.0,
        weighted_seconds=0.0,
        discards=None,
        discarded_bytes=None,
        discard_seconds=None,
        flushes=None,
        flush_seconds=None,
    )
