"""Bounds and mean value analysis against worked examples and independent arithmetic."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.theory.queueing import (
    asymptotic_response,
    asymptotic_throughput,
    balanced_bounds,
    knee,
    mean_value_analysis,
)

JAIN = (5.0, 4.0, 3.0)
"""Jain 1991, examples 33.7 and 33.8: demands in seconds, think time 18 s."""
THINK = 18.0


def test_jain_bounds() -> None:
    assert knee(JAIN, THINK) == pytest.approx(6)
    assert asymptotic_throughput(JAIN, 3, THINK) == pytest.approx(0.1)
    assert asymptotic_throughput(JAIN, 10, THINK) == pytest.approx(0.2)
    assert asymptotic_response(JAIN, 10, THINK) == pytest.approx(32)


def test_jain_most_users_for_a_response_below_a_hundred_seconds() -> None:
    users = max(n for n in range(1, 100) if asymptotic_response(JAIN, n, THINK) < 100)
    assert users == 23


def test_menasce_bottleneck_and_utilisations() -> None:
    """Menascé, Almeida, Dowdy 2004, examples 3.9 and 3.10: X <= 7.04 a second;
    utilisations 35, 30, 41 and 54 % at 3.8 a second."""
    demands = (0.092, 0.079, 0.108, 0.142)
    assert asymptotic_throughput(demands, 1000) == pytest.approx(7.04, abs=0.005)
    assert [round(100 * 3.8 * demand) for demand in demands] == [35, 30, 41, 54]


def test_littles_law() -> None:
    """10,000 a second at 3.2 ms keep 32 outstanding."""
    [*_, last] = mean_value_analysis((1e-9,), 32, 3.2e-3)
    assert last.throughput_per_second == pytest.approx(10_000, rel=1e-3)


def by_normalisation(demands: list[float], customers: int, think: float) -> float:
    """Throughput by convolution: X(N) = G(N-1) / G(N), the think time as an infinite server.
    Independent of mean value analysis (Buzen, CACM 16(9), 1973)."""
    constants = [1.0]
    for number in range(1, customers + 1):
        constants.append(constants[-1] * think / number)
    for demand in demands:
        for number in range(1, customers + 1):
            constants[number] += demand * constants[number - 1]
    return constants[customers - 1] / constants[customers]


DEMANDS = st.lists(st.floats(0.01, 10), min_size=1, max_size=6)


@given(demands=DEMANDS, customers=st.integers(1, 20), think=st.floats(0, 50))
def test_mean_value_analysis_equals_convolution(
    demands: list[float], customers: int, think: float
) -> None:
    [*_, last] = mean_value_analysis(demands, customers, think)
    expected = by_normalisation(demands, customers, think)
    assert last.throughput_per_second == pytest.approx(expected, rel=1e-9)


@given(demands=DEMANDS, customers=st.integers(1, 20), think=st.floats(0, 50))
def test_bounds_hold_the_exact_value(demands: list[float], customers: int, think: float) -> None:
    [*_, last] = mean_value_analysis(demands, customers, think)
    exact = last.throughput_per_second
    least, most = balanced_bounds(demands, customers, think)
    assert least * (1 - 1e-9) <= exact <= most * (1 + 1e-9)
    assert exact <= asymptotic_throughput(demands, customers, think) * (1 + 1e-9)


@given(demands=DEMANDS, customers=st.integers(1, 20))
def test_queue_lengths_add_up_to_the_customers(demands: list[float], customers: int) -> None:
    [*_, last] = mean_value_analysis(demands, customers)
    assert sum(last.queue_lengths) == pytest.approx(customers)


def test_a_network_without_demand_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a customer and some demand"):
        mean_value_analysis((0.0,), 1)
