"""Two control charts as folding states, and their average run lengths.

The tabular CUSUM (Page 1954) and the EWMA (Roberts 1959) in the form of the NIST/SEMATECH
e-Handbook, 6.3.2.3 and 6.3.2.4, and of Montgomery, Introduction to Statistical Quality
Control, chapter 9. A state and a value give the next state; a signal is asked of the state.

Run lengths are computed by the Markov chain of Brook and Evans (Biometrika 1972): the chart's
range is cut into cells, and the mean number of steps until it is left is solved for. Siegmund's
approximation (Sequential Analysis 1985, as in Montgomery 9.1.2) is a second way for the CUSUM.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, sqrt
from statistics import NormalDist

from arraygauge.values import frozen

CELLS = 101
"""Odd, so that one cell of the EWMA's lies around its target; more change no run length that
the tests check by half a per cent."""


@frozen
class Cusum:
    """``reference`` (K) is subtracted from every deviation from ``target``; ``decision`` (H)
    is the sum beyond which it signals. All in the unit of the values."""

    target: float
    reference: float
    decision: float


@frozen
class CusumState:
    """The two sums, both 0 or more, and for how many values each has been above 0: these
    point to where the change began."""

    above: float = 0.0
    below: float = 0.0
    above_run: int = 0
    below_run: int = 0


def advance_cusum(chart: Cusum, state: CusumState, value: float) -> CusumState:
    """C+ = max(0, C+ + (x - target) - K), and C- likewise with target - x."""
    deviation = value - chart.target
    above = max(0.0, state.above + deviation - chart.reference)
    below = max(0.0, state.below - deviation - chart.reference)
    return CusumState(
        above=above,
        below=below,
        above_run=state.above_run + 1 if above > 0 else 0,
        below_run=state.below_run + 1 if below > 0 else 0,
    )


@frozen
class Ewma:
    """``weight`` (lambda, over 0 to 1) is the newest value's; ``width`` (L) the limits' distance
    from ``target`` in standard deviations of the average. ``deviation`` is one value's."""

    target: float
    deviation: float
    weight: float
    width: float


@frozen
class EwmaState:
    """The average, and how many values are in it."""

    average: float
    values: int = 0


def begin_ewma(chart: Ewma) -> EwmaState:
    """The average begins at the target."""
    return EwmaState(average=chart.target)


def advance_ewma(chart: Ewma, state: EwmaState, value: float) -> EwmaState:
    """z = lambda x + (1 - lambda) z."""
    average = chart.weight * value + (1 - chart.weight) * state.average
    return EwmaState(average=average, values=state.values + 1)


def ewma_limits(chart: Ewma, values: int | None = None) -> tuple[float, float]:
    """Lower and upper limit of the average of so many values (Montgomery 9.25 f.); None for
    the limits that it comes to, which the e-Handbook uses throughout."""
    settled = chart.weight / (2 - chart.weight)
    if values is not None:
        settled *= 1 - (1 - chart.weight) ** (2 * values)
    half = chart.width * chart.deviation * sqrt(settled)
    return chart.target - half, chart.target + half


def ewma_signals(chart: Ewma, state: EwmaState) -> bool:
    """Whether the average lies outside the limits for as many values as are in it."""
    low, high = ewma_limits(chart, state.values)
    return not low <= state.average <= high


def cusum_run_length(
    reference: float, decision: float, *, shift: float = 0.0, deviation: float = 1.0
) -> float:
    """Mean number of normal values until the upper sum of a CUSUM with target 0 signals, by
    Markov chain. ``shift`` is their mean. Good to about 1e12 values; more is beyond doubles.

    For values that follow each other with autocorrelation phi, take sqrt((1+phi)/(1-phi)) times
    their deviation: their sums then spread as those of independent values do.
    """
    normal = NormalDist(shift - reference, deviation)
    cell = 2 * decision / (2 * CELLS - 1)

    def passing(origin: int, goal: int) -> float:
        upper = normal.cdf((goal - origin + 0.5) * cell)
        return upper if goal == 0 else upper - normal.cdf((goal - origin - 0.5) * cell)

    return _steps_until_left(passing)[0]


def cusum_run_length_siegmund(reference: float, decision: float, *, shift: float = 0.0) -> float:
    """The same for independent values of deviation 1, by Siegmund's approximation."""
    drift, height = shift - reference, decision + 1.166
    if abs(drift) < 1e-9:
        return height**2
    return (exp(-2 * drift * height) + 2 * drift * height - 1) / (2 * drift**2)


def two_sided(upper: float, lower: float) -> float:
    """Run length of both sides together (Montgomery 9.7)."""
    return 1 / (1 / upper + 1 / lower)


def ewma_run_length(weight: float, width: float, *, shift: float = 0.0) -> float:
    """Mean number of independent normal values of deviation 1 and mean ``shift`` until an EWMA
    with target 0 and settled limits signals, by Markov chain (Lucas and Saccucci 1990)."""
    normal = NormalDist(shift, 1.0)
    half = width * sqrt(weight / (2 - weight))
    cell = 2 * half / CELLS

    def passing(origin: int, goal: int) -> float:
        kept = (1 - weight) * (-half + (origin + 0.5) * cell)
        low = -half + goal * cell
        return normal.cdf((low + cell - kept) / weight) - normal.cdf((low - kept) / weight)

    return _steps_until_left(passing)[CELLS // 2]


def _steps_until_left(passing: Callable[[int, int], float]) -> list[float]:
    """From each cell, the mean number of steps until the chain has left all: (I - R) n = 1."""
    cells = range(CELLS)
    rows = [
        [(1.0 if origin == goal else 0.0) - passing(origin, goal) for goal in cells] + [1.0]
        for origin in cells
    ]
    return _solved(rows)


def _solved(rows: Sequence[list[float]]) -> list[float]:
    """Gauss and back; the rows are diagonally dominant, so no pivot has to be sought."""
    count = len(rows)
    for pivot, lead in enumerate(rows):
        for row in rows[pivot + 1 :]:
            factor = row[pivot] / lead[pivot]
            row[pivot:] = [a - factor * b for a, b in zip(row[pivot:], lead[pivot:], strict=True)]
    found = [0.0] * count
    for index in reversed(range(count)):
        row = rows[index]
        known = sum(row[later] * found[later] for later in range(index + 1, count))
        found[index] = (row[count] - known) / row[index]
    return found
