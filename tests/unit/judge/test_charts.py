"""The charts against the published worked examples and tables."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import accumulate
from math import exp

import pytest

from arraygauge.judge.charts import (
    Cusum,
    CusumState,
    Ewma,
    EwmaState,
    advance_cusum,
    advance_ewma,
    begin_ewma,
    cusum_run_length,
    ewma_limits,
    ewma_run_length,
    ewma_signals,
    two_sided,
)

Numbers = tuple[float, ...]


def numbers(text: str) -> Numbers:
    return tuple(map(float, text.split()))


def cusums(chart: Cusum, values: Numbers) -> list[CusumState]:
    return list(accumulate(values, partial(advance_cusum, chart), initial=CusumState()))[1:]


def ewmas(chart: Ewma, values: Numbers) -> list[EwmaState]:
    return list(accumulate(values, partial(advance_ewma, chart), initial=begin_ewma(chart)))[1:]


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3
HANDBOOK_CUSUM = Cusum(target=325, reference=0.3175, decision=4.1959)
HANDBOOK_MEANS = numbers(
    "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 "
    "324.625 325.150 328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"
)
# the same, 6.3.2.4
HANDBOOK_EWMA = Ewma(target=50, deviation=2.0539, weight=0.3, width=3)
HANDBOOK_VALUES = numbers(
    "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 "
    "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
)
# Montgomery, Introduction to Statistical Quality Control, table 9.1
MONTGOMERY = numbers(
    "9.45 7.99 9.29 11.66 12.16 10.18 8.04 11.46 9.20 10.34 9.03 11.47 10.51 9.40 10.08 "
    "9.37 10.62 10.31 8.52 10.84 10.90 9.33 12.29 11.50 10.60 11.08 10.38 11.62 11.31 10.52"
)


def test_the_cusum_gives_the_handbooks_sums() -> None:
    states = cusums(HANDBOOK_CUSUM, HANDBOOK_MEANS)
    high = numbers("0 0 0 0 .03 0 0 0 0 0 0 0 3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04")
    low = numbers("0 .01 0 .33 0 0 .56 .72 .17 .25 .31 0 0 0 0 0 0 0 0 0")
    assert [state.above for state in states] == pytest.approx(high, abs=0.01)
    assert [state.below for state in states] == pytest.approx(low, abs=0.01)


def test_the_cusum_first_signals_where_the_handbooks_does() -> None:
    states = cusums(HANDBOOK_CUSUM, HANDBOOK_MEANS)
    signals = [
        index
        for index, state in enumerate(states, 1)
        if max(state.above, state.below) > HANDBOOK_CUSUM.decision
    ]
    assert signals[0] == 14


def test_the_run_points_to_the_first_value_of_the_change() -> None:
    assert cusums(HANDBOOK_CUSUM, HANDBOOK_MEANS)[13].above_run == 2


def test_the_ewma_gives_the_handbooks_averages_and_stays_in_control() -> None:
    states = ewmas(HANDBOOK_EWMA, HANDBOOK_VALUES)
    averages = numbers(
        "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 "
        "50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99"
    )
    low, high = ewma_limits(HANDBOOK_EWMA)
    assert [state.average for state in states] == pytest.approx(averages, abs=0.006)
    assert (low, high) == pytest.approx((47.4115, 52.5884), abs=1e-3)
    assert all(low < state.average < high for state in states)


def test_montgomerys_thirty_points_signal_at_29_on_the_cusum() -> None:
    states = cusums(Cusum(target=10, reference=0.5, decision=5), MONTGOMERY)
    assert [state.above > 5 for state in states].index(True) + 1 == 29
    assert [state.above for state in states[28:]] == pytest.approx([5.28, 5.30], abs=0.005)
    assert states[28].above_run == 7  # so Montgomery: the shift came between 22 and 23


def test_montgomerys_thirty_points_signal_at_29_on_the_ewma() -> None:
    chart = Ewma(target=10, deviation=1, weight=0.1, width=2.7)
    states = ewmas(chart, MONTGOMERY)
    shown = [states[index].average for index in (0, 27, 28)]
    assert shown == pytest.approx([9.945, 10.5731, 10.6468], abs=5e-5)
    assert ewma_limits(chart, 28)[1] == pytest.approx(10.6186, abs=5e-4)
    assert [ewma_signals(chart, state) for state in states].index(True) + 1 == 29


@pytest.mark.parametrize(
    ("decision", "shift", "published"),
    [
        (4, 0, 168),
        (4, 0.5, 26.6),
        (4, 1, 8.38),
        (4, 2, 3.34),
        (5, 0, 465),
        (5, 0.5, 38.0),
        (5, 1, 10.4),
        (5, 2, 4.01),
    ],
)
def test_cusum_run_lengths_are_the_published_ones(
    decision: float, shift: float, published: float
) -> None:
    """Two-sided, K = 0.5: Montgomery, table 9.3 (after Lucas and Crosier 1982); from memory."""
    upper = cusum_run_length(0.5, decision, shift=shift)
    lower = cusum_run_length(0.5, decision, shift=-shift)
    assert two_sided(upper, lower) == pytest.approx(published, rel=0.005)


@pytest.mark.parametrize(("reference", "decision"), [(0.5, 5.0), (1.0, 4.0), (1.28, 5.87)])
def test_the_chain_agrees_with_siegmunds_approximation(reference: float, decision: float) -> None:
    """Siegmund 1985: (exp(2 K b) - 2 K b - 1) / 2 K^2 with b = H + 1.166; it runs some per cent
    high, the more so the larger K."""
    height = 2 * reference * (decision + 1.166)
    siegmund = (exp(height) - height - 1) / (2 * reference**2)
    assert cusum_run_length(reference, decision) == pytest.approx(siegmund, rel=0.12)


@pytest.mark.parametrize(
    ("weight", "width", "shift", "published"),
    [
        (0.4, 3.054, 0, 500),
        (0.2, 2.962, 0, 500),
        (0.1, 2.814, 0, 500),
        (0.05, 2.615, 0, 500),
        (0.4, 3.054, 1, 14.3),
        (0.2, 2.962, 1, 10.5),
        (0.1, 2.814, 1, 10.3),
        (0.05, 2.615, 1, 11.4),
    ],
)
def test_ewma_run_lengths_are_the_published_ones(
    weight: float, width: float, shift: float, published: float
) -> None:
    """Lucas and Saccucci 1990, as in Montgomery, table 9.11; from memory."""
    assert ewma_run_length(weight, width, shift=shift) == pytest.approx(published, rel=0.007)


@pytest.mark.parametrize("run_length", [cusum_run_length, ewma_run_length])
def test_a_larger_shift_is_found_sooner(run_length: Callable[..., float]) -> None:
    lengths = [run_length(0.5, 3.0, shift=shift) for shift in (0, 1, 2, 3)]
    assert lengths == sorted(lengths, reverse=True)
