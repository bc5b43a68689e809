"""What devices read at one time carried once all had settled, from their bytes over time. Pure.

When reading begins a disk seeks, a drive wakes, caches and links let a first gulp pass: for
how long differs by a hundred times between devices. So that is found, not fixed: the beginning
is left out up to the moment from which the rest varies least for its length (the marginal
standard error rule: K. P. White, Simulation 69, 1997, from memory), at most half of the time.

Of what is left, each rate is the slope of the line through the bytes over time (least
squares): completions that come in clusters move it far less than they move a count between
two moments. How well such a rate repeats is told by comparing the first half with the second.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import sqrt
from statistics import fmean, linear_regression

from arraygauge.values import frozen

BINS = 20
FEWEST_MARKS = 6
"""Through fewer the line's slope depends on where the first and the last happened to fall."""

Mark = tuple[float, int]
"""A moment in seconds of a clock that all devices share, and the bytes that had come by then."""


@frozen
class Settled:
    """Bytes per second by device over the same ``seconds``.

    ``imprecision`` is one deviation of these rates, as a share, pooled over the devices.
    """

    rates: Mapping[str, float]
    seconds: float
    imprecision: float


def settled_rates(progress: Mapping[str, Sequence[Mark]]) -> Settled | None:
    """The rates while all read and had settled; None where some device gave too few marks
    in that time. ``progress`` holds each device's marks in order of time."""
    if not progress or any(len(marks) < FEWEST_MARKS for marks in progress.values()):
        return None
    begin = max(marks[0][0] for marks in progress.values())
    end = min(marks[-1][0] for marks in progress.values())
    if end <= begin:
        return None
    begin = _settled_from(progress, begin, end)
    kept = {
        name: [mark for mark in marks if begin <= mark[0] <= end]
        for name, marks in progress.items()
    }
    if any(len(marks) < FEWEST_MARKS for marks in kept.values()):
        return None
    return Settled(
        rates={
            name: linear_regression(*zip(*marks, strict=True)).slope for name, marks in kept.items()
        },
        seconds=end - begin,
        imprecision=_imprecision(progress, begin, end),
    )


def _settled_from(progress: Mapping[str, Sequence[Mark]], begin: float, end: float) -> float:
    """The beginning of the part that varies least for its length."""
    edges = [begin + (end - begin) * number / BINS for number in range(BINS + 1)]
    shares = [_shares([_bytes_at(marks, edge) for edge in edges]) for marks in progress.values()]

    def error(cut: int) -> float:
        return sum(_variation(share[cut:]) for share in shares) / (BINS - cut) ** 2

    return edges[min(range(BINS // 2 + 1), key=error)]


def _shares(counts: Sequence[float]) -> list[float]:
    return [after - before for before, after in pairwise(counts)]


def _variation(values: Sequence[float]) -> float:
    """The squared deviations from the mean, as shares of it."""
    mean = fmean(values)
    return sum((value / mean - 1) ** 2 for value in values) if mean else float("inf")


def _imprecision(progress: Mapping[str, Sequence[Mark]], begin: float, end: float) -> float:
    """Half the difference of two halves deviates as their mean does."""
    moments = (begin, (begin + end) / 2, end)
    squares = []
    for marks in progress.values():
        first, second = _shares([_bytes_at(marks, moment) for moment in moments])
        squares.append(((first - second) / (first + second)) ** 2 if first + second else 1.0)
    return sqrt(fmean(squares))


def _bytes_at(marks: Sequence[Mark], moment: float) -> float:
    """Between two marks, as much of a transfer as of the time."""
    after = min(max(bisect_left(marks, (moment, 0)), 1), len(marks) - 1)
    (left, had), (right, has) = marks[after - 1], marks[after]
    share = (moment - left) / (right - left) if right > left else 1.0
    return had + (has - had) * share
