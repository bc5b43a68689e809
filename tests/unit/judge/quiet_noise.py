"""Quiet years made of noise that was recorded, and the incidents that passes over them open.

``recorded_noise.json`` holds rates that were measured while nothing changed, by
``bench.record_noise``: of this project's build machine, a virtual one whose drive is no machine's
own, and of a stripe of three throttled drives in a lab machine. Both were recorded while two cores
did the work of several (load averages of 2 to 7), as is shown by how widely they stray. Years are
resampled from it in blocks of ``BLOCK`` that followed each other, for all subjects of a machine at
once, so that what strays together and from pass to pass does so here too (the moving block
bootstrap of Kunsch, Annals of Statistics 1989). The build machine has one drive; its array is one
of drives like it, each of which gives what that drive gave when it was read next.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from random import Random

from arraygauge.judge.baseline import INTERVAL_TO_ERROR, Reading
from arraygauge.judge.drift import follow
from arraygauge.probe.values import Measurement
from invented import measured
from unit.judge.drifting_machine import HOUR, Machine, Told
from unit.judge.passes import fresh

RECORDED = Path(__file__).with_name("recorded_noise.json")
BLOCK = 8
PASSES_A_YEAR = 365 * 24

Noise = tuple[float, float | None]
"""A rate in bytes per second, and the half width of its interval as a share."""


def recorded(where: str) -> dict[str, list[Noise]]:
    """The series of one machine, by subject; all of one length, passes in order."""
    known = json.loads(RECORDED.read_text(encoding="ascii"))
    found = {
        name.split()[1]: [(rate, half) for rate, half in series]
        for name, series in known.items()
        if name.split()[0] == where
    }
    assert len({len(series) for series in found.values()}) == 1
    return found


def resampled(
    series: Mapping[str, list[Noise]], random: Random, passes: int
) -> Iterator[dict[str, Noise]]:
    """So many passes, in blocks; each subject's noise from the same recorded pass."""
    recorded_passes = len(next(iter(series.values())))
    while passes > 0:
        begin = random.randrange(recorded_passes - BLOCK + 1)
        for index in range(begin, begin + min(BLOCK, passes)):
            yield {name: each[index] for name, each in series.items()}
        passes -= BLOCK


def of_lab(random: Random, passes: int) -> Iterator[dict[str, Noise]]:
    """The stripe in the lab, as it was."""
    return resampled(recorded("lab"), random, passes)


def of_machine(random: Random, passes: int) -> Iterator[dict[str, Noise]]:
    """A stripe of three drives like the build machine's, read one after the other, then itself."""
    [series] = recorded("machine").values()
    names = ("sda", "sdb", "sdc", "md0")
    readings = (one["drive"] for one in resampled({"drive": series}, random, passes * len(names)))
    for _ in range(passes):
        found = dict(zip(names, readings, strict=False))
        rate, half = found["md0"]
        yield found | {"md0": (3 * rate, half)}


STRIPES = {"lab": of_lab, "machine": of_machine}


def incidents_opened(where: str, year: int, passes: int) -> Counter[str]:
    """In one quiet year, or so many passes of one, of a stripe: by peers, by theory and by drift
    together, by origin and matter."""
    told = Told()
    machine: Machine | None = None
    for index, noise in enumerate(STRIPES[where](Random(year), passes)):
        machine = machine or Machine(names=tuple(name for name in noise if name != "md0"))
        machine.passes = index
        attempts = {name: attempt(name, each, machine.moment) for name, each in noise.items()}
        told.see(machine.judged(attempts), index * HOUR)
    return told.opened


def drifts_found(where: str, subject: str, year: int, passes: int) -> int:
    """How often one subject's chart, by itself, newly finds drift in a quiet year."""
    series = {subject: recorded(where)[subject]}
    watched, found = fresh(), 0
    for index, noise in enumerate(resampled(series, Random(year), passes)):
        rate, half = noise[subject]
        before = watched.state.course
        watched = follow(
            watched,
            Reading(
                moment_seconds=index * HOUR,
                bytes_per_second=rate,
                error=half * INTERVAL_TO_ERROR if half is not None else None,
                celsius=None,
            ),
        )
        found += before is None and watched.state.course is not None
    return found


def attempt(name: str, noise: Noise, moment: float) -> Measurement:
    """The whole measurement that the probe would have made of it."""
    rate, half = noise
    return replace(
        measured(name, rate),
        started_at_seconds=moment,
        low_bytes_per_second=rate * (1 - half) if half is not None else None,
        high_bytes_per_second=rate * (1 + half) if half is not None else None,
    )
