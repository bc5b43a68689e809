"""The write cliff: a drive's fast cache is full, and the rate falls to another level. Pure.

Two levels are fitted to the logarithms of the rates of a burst's slices by least squares,
with the step wherever it fits best. That the step is real is tried against the burst itself:
the slices are shuffled in blocks, and the same fit is made. Were the noise the same throughout,
each order of blocks would be as likely as the one seen, so a step that no more than
``ALARMS_ALLOWED`` of ``SHUFFLES`` orders reach is seen in ``FALSE_ALARM_RATE`` of bursts without
a cliff at most. Noise that comes in runs longer than a block would break that: the step's gain
is divided beforehand by what such runs add to the spread of a mean, (1 + r) / (1 - r), r being
the correlation of neighbours around the two levels (the formula for noise that forgets at a
constant rate). That it must also be a fall of ``LEAST_FALL`` makes false alarms rarer still.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, chain, pairwise
from math import log
from random import Random
from statistics import fmean

from arraygauge.values import frozen

LEAST_FALL = 0.2
"""What counts as a cliff: the second rate is so much below the first, as a share of it."""
SHUFFLES, ALARMS_ALLOWED = 199, 1
FALSE_ALARM_RATE = (ALARMS_ALLOWED + 1) / (SHUFFLES + 1)
"""1 %, at most, for noise whose blocks could come in any order; up to 2 % was simulated for
noise in runs, for bursts of the fewest slices."""
BLOCKS = 20
FEWEST_SLICES = 40
LEAST_SIDE, LEAST_SECONDS = 4, 0.1
"""A level stands on so many slices, and lasts so long; a short pause is no level."""

MOST_CORRELATION = 0.95

Slice = tuple[int, int]
"""Bytes, and the nanoseconds they took."""


@frozen
class Cliff:
    """Rates in bytes per second before and after, and how many bytes were written before."""

    before_bytes_per_second: float
    after_bytes_per_second: float
    after_bytes: int

    @property
    def fall(self) -> float:
        """As a share of the rate before."""
        return 1 - self.after_bytes_per_second / self.before_bytes_per_second


def find_cliff(slices: Sequence[Slice]) -> Cliff | None:
    """The step down in a burst cut into consecutive slices; None for one rate throughout,
    and for fewer than ``FEWEST_SLICES`` or levels shorter than ``LEAST_SECONDS``, which
    cannot tell."""
    told = [each for each in slices if each[0] > 0 and each[1] > 0]
    if len(told) < FEWEST_SLICES:
        return None
    logs = [log(size / nanoseconds) for size, nanoseconds in told]
    gain, split = _best_step(logs)
    shorter = min(_seconds(told[:split]), _seconds(told[split:]))
    cliff = _cliff_at(told, split)
    if (
        shorter < LEAST_SECONDS
        or cliff.fall < LEAST_FALL
        or not _stands_out(logs, gain / _runs(logs, split))
    ):
        return None
    return cliff


def rate_of(slices: Sequence[Slice]) -> float | None:
    """Bytes per second over all of them; None for nothing."""
    seconds = _seconds(slices)
    return sum(size for size, _ in slices) / seconds if seconds else None


def _seconds(slices: Sequence[Slice]) -> float:
    return sum(nanoseconds for _, nanoseconds in slices) / 1e9


def _cliff_at(slices: Sequence[Slice], split: int) -> Cliff:
    before, after = slices[:split], slices[split:]
    return Cliff(
        before_bytes_per_second=rate_of(before) or 0.0,
        after_bytes_per_second=rate_of(after) or 0.0,
        after_bytes=sum(size for size, _ in before),
    )


def _best_step(values: Sequence[float]) -> tuple[float, int]:
    """By how much the best step down lowers the sum of squares, and before which value it is.

    With n values of mean m, of which the first k have the mean a, a step after k lowers the
    sum of squares around m by k n / (n - k) (a - m)², and goes down where a > m.
    """
    count, total = len(values), sum(values)
    best = (0.0, LEAST_SIDE)
    for split, head in enumerate(accumulate(values), start=1):
        excess = head - split * total / count
        if LEAST_SIDE <= split <= count - LEAST_SIDE and excess > 0:
            best = max(best, (excess * excess * count / (split * (count - split)), split))
    return best


def _runs(values: Sequence[float], split: int) -> float:
    """How much wider the mean of these spreads than that of independent values, squared."""
    levels = fmean(values[:split]), fmean(values[split:])
    rest = [value - levels[at >= split] for at, value in enumerate(values)]
    squares = sum(each * each for each in rest)
    together = sum(here * there for here, there in pairwise(rest))
    correlation = min(max(together / squares, 0.0), MOST_CORRELATION) if squares else 0.0
    return (1 + correlation) / (1 - correlation)


def _stands_out(values: Sequence[float], gain: float) -> bool:
    # Seeded by the burst, so that it gets the same answer each time.
    chance, alarms = Random(repr(values)), 0  # noqa: S311 (no secrets here)
    length = max(len(values) // BLOCKS, 1)
    for _ in range(SHUFFLES):
        turn = chance.randrange(length)
        blocks = [values[at : at + length] for at in range(turn, len(values), length)]
        blocks.append(values[:turn])
        chance.shuffle(blocks)
        alarms += _best_step(list(chain.from_iterable(blocks)))[0] >= gain
        if alarms > ALARMS_ALLOWED:
            return False
    return True
