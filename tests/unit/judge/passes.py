"""Invented passes over one invented drive: noise as drives and their rooms make it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import pi, sin, sqrt
from random import Random

from arraygauge.judge.baseline import Baseline, BaselineKey, Learning, Reading
from arraygauge.judge.drift import DriftFinding, Watched, find_drift, follow
from arraygauge.probe.values import Measurement, Outcome, Route
from arraygauge.theory.values import SEQUENTIAL_READ, Direction

RATE = 200e6
HOUR = 3600.0
KEY = BaselineKey(stable_id="invented-drive", direction=Direction.READ, workload="invented")


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How a drive's rate strays: by chance, from pass to pass, by the hour of the day (half
    the swing, a share), and once in a hundred passes wildly by a tenth up or down."""

    spread: float
    autocorrelation: float = 0.3
    swing: float = 0.005
    every_seconds: float = HOUR
    wild: float = 0.01


def readings(
    random: Random, room: Room, change: Callable[[int], float] = lambda _: 0.0
) -> Iterator[Reading]:
    """Without end. ``change`` gives a share by which the pass of that number is off."""
    error, phase = 0.0, random.uniform(0, 2 * pi)
    fresh = room.spread * sqrt(1 - room.autocorrelation**2)
    index = 0
    while True:
        error = room.autocorrelation * error + random.gauss(0, fresh)
        moment = index * room.every_seconds
        share = error + room.swing * sin(2 * pi * moment / 86400 + phase) + change(index)
        if random.random() < room.wild:
            share += random.choice((-0.1, 0.1))
        yield Reading(
            moment_seconds=moment, bytes_per_second=RATE * (1 + share), error=None, celsius=None
        )
        index += 1


def fresh() -> Watched:
    return Watched(usual=Learning(key=KEY, fingerprint="as built"))


def finding(watched: Watched) -> DriftFinding | None:
    usual = watched.usual
    return find_drift(usual, watched.state) if isinstance(usual, Baseline) else None


def false_alarms(random: Random, room: Room, passes: int) -> int:
    """How often drift is newly found in so many quiet passes, those of learning included."""
    watched, alarms = fresh(), 0
    for _, reading in zip(range(passes), readings(random, room), strict=False):
        before = watched.state.course
        watched = follow(watched, reading)
        alarms += before is None and watched.state.course is not None
    return alarms


def measured(rate: float | None, half: float | None = None, **changes: object) -> Measurement:
    """An invented measurement; ``half`` its interval's half width as a share."""
    plain: dict[str, object] = {
        "device": "sda",
        "route": Route.RAW,
        "path": "/dev/sda",
        "workload": SEQUENTIAL_READ,
        "outcome": Outcome.COMPLETED,
        "detail": None,
        "started_at_seconds": 0.0,
        "seconds": 1.0,
        "bursts": 1,
        "bytes_read": 1,
        "bytes_per_second": rate,
        "low_bytes_per_second": rate * (1 - half) if rate and half is not None else None,
        "high_bytes_per_second": rate * (1 + half) if rate and half is not None else None,
        "slope": None,
        "latency": None,
        "places": (),
        "set_aside": (),
        "temperature_celsius": None,
        "slowest_link": None,
    }
    return Measurement(**(plain | changes))  # type: ignore[arg-type]
