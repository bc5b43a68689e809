"""Statistics that a few wild values do not move. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations
from math import ceil, sqrt
from statistics import NormalDist, median

from arraygauge.values import frozen

MAD_TO_DEVIATION = 1 / NormalDist().inv_cdf(0.75)
"""1.4826: makes the median absolute deviation of normal values their standard deviation."""


def mad(values: Sequence[float], *, factor: float = MAD_TO_DEVIATION) -> float:
    """Median absolute deviation from the median, brought to a standard deviation."""
    middle = median(values)
    return factor * median(abs(value - middle) for value in values)


def band_deviation(values: Sequence[float], share: float) -> float:
    """Half the width of the band around the median that holds this share of them, brought to a
    standard deviation: what ``mad`` is for a share of a half."""
    middle = median(values)
    away = sorted(abs(value - middle) for value in values)
    half = away[ceil(share * len(away)) - 1]
    return half / NormalDist().inv_cdf((1 + share) / 2)


def theil_slope(points: Sequence[tuple[float, float]]) -> float | None:
    """The median slope of all pairs (Theil 1950, Sen 1968); None if no two differ in x."""
    slopes = [(d - b) / (c - a) for (a, b), (c, d) in combinations(points, 2) if a != c]
    return median(slopes) if slopes else None


@frozen
class Kendall:
    """Rising less falling pairs of a series, the variance of that by chance (ties taken out),
    and how many standard deviations it is, corrected for continuity."""

    score: int
    variance: float
    deviations: float


def mann_kendall(values: Sequence[float]) -> Kendall:
    """Whether a series rises or falls (Mann 1945, Kendall 1975)."""
    count = len(values)
    score = sum((later > first) - (later < first) for first, later in combinations(values, 2))
    variance = _pairs_variance(count) - sum(map(_pairs_variance, Counter(values).values()))
    nearer = score - ((score > 0) - (score < 0))
    return Kendall(
        score=score, variance=variance, deviations=nearer / sqrt(variance) if variance else 0.0
    )


def _pairs_variance(count: int) -> float:
    return count * (count - 1) * (2 * count + 5) / 18


def weighted_median(weighed: Sequence[tuple[float, float]]) -> float:
    """Of (value, weight) pairs, the value at which half the weight is reached."""
    half = sum(weight for _, weight in weighed) / 2
    reached = 0.0
    for value, weight in sorted(weighed):
        reached += weight
        if reached >= half:
            return value
    raise ValueError("no values")
