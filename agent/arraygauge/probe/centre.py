"""The rate that places show together, and how surely. Pure.

The interval is distribution-free: between two ranks of the ordered rates, as many as a
fair coin's tosses put around the middle (binomial; e.g. Conover, Practical Nonparametric
Statistics, confidence interval for a quantile, from memory). On a device that slows toward
its end, as disks do from rim to hub, the rates are first brought to its middle along the
line through them that Theil's method gives (the median of all pairs' slopes).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import comb
from statistics import median

from arraygauge.values import frozen

CONFIDENCE = 0.95
FEWEST_FOR_INTERVAL = 6
"""Of five places even the lowest and the highest enclose the median in 94 of 100 cases only."""
SLOPE_WORTH_TAKING = 0.1
"""A change over the whole device by less than that is not told from noise by so few places."""
SPAN_FOR_SLOPE = 0.5
"""Places closer together than half the device say nothing of its middle but their own rates."""

Point = tuple[float, float]
"""Where on the device, as a fraction of it from 0 to 1; bytes per second there."""


@frozen
class Centre:
    """The median and the interval it lies in; bytes per second, ``slope`` a share of it."""

    rate: float
    low: float | None
    high: float | None
    slope: float | None

    @property
    def uncertainty(self) -> float | None:
        """Half the interval's width as a share of the rate."""
        if self.low is None or self.high is None:
            return None
        return (self.high - self.low) / 2 / self.rate


def centre_of(points: Sequence[Point], *, may_slope: bool) -> Centre | None:
    """What the places show together; None for none.

    ``may_slope`` where the rate may depend on the place: false for a drive known to be
    solid-state, whose places differ by chance only.
    """
    if not points:
        return None
    slope = slope_of(points) if may_slope and len(points) >= FEWEST_FOR_INTERVAL else None
    rates = [rate - (slope or 0.0) * (where - 0.5) for where, rate in points]
    middle = median(rates)
    low, high = median_interval(rates) or (None, None)
    share = slope / middle if slope is not None else None
    return Centre(rate=middle, low=low, high=high, slope=share)


def slope_of(points: Sequence[Point]) -> float | None:
    """Change of the rate from the first byte to the last, where it is worth taking out."""
    slopes = [
        (second - first) / (there - here)
        for (here, first), (there, second) in combinations(points, 2)
        if there != here
    ]
    span = max(where for where, _ in points) - min(where for where, _ in points)
    if span < SPAN_FOR_SLOPE:
        return None
    slope = median(slopes)
    worth = abs(slope) > SLOPE_WORTH_TAKING * median(rate for _, rate in points)
    return slope if worth else None


def median_interval(values: Sequence[float]) -> tuple[float, float] | None:
    """Between which two of the values the median lies with ``CONFIDENCE``; None for too few."""
    rank = lower_rank(len(values))
    if rank is None:
        return None
    ordered = sorted(values)
    return ordered[rank - 1], ordered[len(values) - rank]


def lower_rank(count: int) -> int | None:
    """The largest rank k from 1 such that the k-th lowest and the k-th highest of ``count``
    values enclose the median with ``CONFIDENCE`` at least."""
    outside, rank = 0, 0
    while rank < count // 2:
        outside += comb(count, rank)
        if 2 * outside / 2**count > 1 - CONFIDENCE:
            break
        rank += 1
    return rank or None
