"""Where a series left its usual level, and whether at once or little by little. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from itertools import accumulate
from math import exp, sqrt
from statistics import median

from arraygauge.judge.robust import weighted_median
from arraygauge.values import frozen

AUTOCORRELATION = 0.3
"""What one value takes over from the value before, at most: assumed, as a reserve."""
CORRELATED = sqrt((1 + AUTOCORRELATION) / (1 - AUTOCORRELATION))
"""By this much sums and means of such values spread wider than those of independent ones."""
WILD = 9.0
"""The squared distance from a fit beyond which a value says no more against it."""
SURE_ENOUGH = 0.9


class Shape(StrEnum):
    STEP = "step"
    TREND = "trend"
    UNTOLD = "too few readings to tell a step from a trend"


@frozen
class Point:
    """``value`` is the distance from the usual level, in standard deviations of chance."""

    moment_seconds: float
    value: float


@frozen
class Change:
    """``index`` is the first point changed; ``sure`` the odds of the better fitting shape
    against the other as a share, 0.5 to 1."""

    index: int
    shape: Shape
    sure: float


def fit_change(points: Sequence[Point]) -> Change:
    """Fit both a step and a ramp that begin at each point in turn, with the usual level 0
    before; the least squares of each are held against each other.

    The odds are those of normal values with equal odds before, their logarithm made smaller
    for autocorrelation as the variance of sums is made larger.
    """
    values = [point.value for point in points]
    step = _best(values, _step)
    ramp = _best(values, _ramp)
    better, shape = (step, Shape.STEP) if step <= ramp else (ramp, Shape.TREND)
    sure = 1 / (1 + exp(-abs(step[0] - ramp[0]) / 2 / CORRELATED**2))
    return Change(index=better[1], shape=shape if sure >= SURE_ENOUGH else Shape.UNTOLD, sure=sure)


Fit = Callable[[Sequence[float]], list[float]]


def _best(values: Sequence[float], fit: Fit) -> tuple[float, int]:
    """The smallest loss and the index at which the change then begins."""
    usual = [0.0, *accumulate(_loss(value) for value in values)]
    return min((usual[index] + _misfit(values[index:], fit), index) for index in range(len(values)))


def _misfit(values: Sequence[float], fit: Fit) -> float:
    return sum(_loss(value - at) for value, at in zip(values, fit(values), strict=True))


def _loss(distance: float) -> float:
    return min(distance * distance, WILD)


def _step(values: Sequence[float]) -> list[float]:
    return [median(values)] * len(values)


def _ramp(values: Sequence[float]) -> list[float]:
    """The line from 0 just before the first value, by least absolute distances."""
    passed = range(1, len(values) + 1)
    slope = weighted_median([(value / n, n) for value, n in zip(values, passed, strict=True)])
    return [slope * n for n in passed]
