"""Many points made few, and where a series has gaps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import median

from arraygauge.tell.charts.values import TimePoint

MOST_POINTS = 500
_GAP_FACTOR = 3.5
_NEIGHBOURS = 4

Run = tuple[TimePoint, ...]
"""Points that may be joined by a line: each has a rate."""


def runs_of(points: Sequence[TimePoint]) -> tuple[Run, ...]:
    """In order of time, parted where there is no rate, or where nothing was measured for 3.5
    times as long as is usual around that time; thinned to ``MOST_POINTS`` in all."""
    found: list[list[TimePoint]] = [[]]
    ordered = sorted(points, key=lambda each: each.at_seconds)
    rated = [each for each in ordered if each.bytes_per_second is not None]
    wide = _wide_intervals(rated)
    for index, point in enumerate(ordered):
        if point.bytes_per_second is None or (index and ordered[index - 1].at_seconds in wide):
            found.append([])
        if point.bytes_per_second is not None:
            found[-1].append(point)
    return _thinned(tuple(tuple(run) for run in found if run))


def _wide_intervals(points: Sequence[TimePoint]) -> set[float]:
    """The moments after which a gap begins."""
    steps = [after.at_seconds - before.at_seconds for before, after in pairwise(points)]
    return {
        points[index].at_seconds
        for index, step in enumerate(steps)
        if step > _GAP_FACTOR * median(_around(steps, index))
    }


def _around(steps: Sequence[float], index: int) -> Sequence[float]:
    return steps[max(0, index - _NEIGHBOURS) : index + _NEIGHBOURS + 1]


def _thinned(runs: tuple[Run, ...]) -> tuple[Run, ...]:
    """Of each stretch of time the first, the last, the least and the most."""
    count = sum(len(run) for run in runs)
    if count <= MOST_POINTS:
        return runs
    start, end = runs[0][0].at_seconds, runs[-1][-1].at_seconds
    stretches = MOST_POINTS // 4
    width = (end - start) / stretches or 1.0
    kept: dict[int, list[TimePoint]] = {}
    for run in runs:
        for point in run:
            stretch = min(int((point.at_seconds - start) / width), stretches - 1)
            kept.setdefault(stretch, []).append(point)
    chosen = {id(point) for group in kept.values() for point in _telling(group)}
    thin = (tuple(point for point in run if id(point) in chosen) for run in runs)
    return tuple(run for run in thin if run)


def _telling(group: Sequence[TimePoint]) -> Iterator[TimePoint]:
    yield group[0]
    yield min(group, key=_rate)
    yield max(group, key=_rate)
    yield group[-1]


def _rate(point: TimePoint) -> float:
    return point.bytes_per_second or 0.0
