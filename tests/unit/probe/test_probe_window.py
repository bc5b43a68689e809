"""The counted window: that its rate is right on slow drives, in clusters and at the end.

Simulated completions with exact times; expected rates follow from the simulated
drive's own speed, which the code under test does not know.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.child import NANOSECONDS, Histogram, Window

MIB = 1 << 20
TRANSFER_NS = 52_428_800
"""1 MiB at 20 MB/s."""


def counted(window: Window) -> tuple[int, int]:
    """Bytes and nanoseconds, as the parent adds them up."""
    pieces = [*window.slices, (window.slice_bytes, window.last - window.slice_begun)]
    return sum(size for size, _ in pieces), sum(ns for _, ns in pieces)


def rate(window: Window) -> float:
    size, ns = counted(window)
    return size / ns * NANOSECONDS


def feed(window: Window, times: list[int]) -> None:
    for now in times:
        window.complete(now, MIB)
        if window.closed:
            return


def half_a_second(warm_up_ns: int = 0) -> Window:
    return Window(0, warm_up_ns, 1 << 40, NANOSECONDS // 2)


@given(phase=st.integers(min_value=1, max_value=TRANSFER_NS))
def test_a_steady_slow_drive_is_measured_exactly_whatever_the_phase(phase: int) -> None:
    """At 20 MB/s only ten 1 MiB transfers fit in half a second; a count within fixed
    times would be off by up to a tenth."""
    window = half_a_second(warm_up_ns=100_000_000)
    feed(window, [phase + index * TRANSFER_NS for index in range(40)])
    assert window.closed
    assert rate(window) == pytest.approx(20e6, rel=1e-6)


@given(
    phase=st.integers(min_value=1, max_value=TRANSFER_NS),
    gap=st.integers(min_value=1, max_value=TRANSFER_NS // 100),
    cluster=st.integers(min_value=2, max_value=16),
)
def test_completions_in_clusters_do_not_bias_the_rate(phase: int, gap: int, cluster: int) -> None:
    """A stripe over several drives completes in clusters; the clock starts and stops at
    the first of one."""
    window = half_a_second(warm_up_ns=phase)
    period = cluster * TRANSFER_NS
    feed(window, [phase + i // cluster * period + i % cluster * gap for i in range(40 * cluster)])
    assert window.closed
    assert rate(window) == pytest.approx(20e6, rel=0.01)


def test_irregular_completions_average_to_the_true_rate() -> None:
    """Exponential gaps are the worst case for a stopping rule, and both ends of the window
    are completions, so Wald's identity holds: bytes over time, both averaged, is the true
    rate. Ten transfers in each of 4000 windows: 2 % is four standard errors."""
    chance = random.Random(20)
    totals = []
    for _ in range(4000):
        window, now = half_a_second(warm_up_ns=50_000_000), 1
        while not window.closed:
            now += 1 + round(chance.expovariate(1) * TRANSFER_NS)
            window.complete(now, MIB)
        totals.append(counted(window))
    size, ns = (sum(column) for column in zip(*totals, strict=True))
    assert size / ns * NANOSECONDS == pytest.approx(20e6, rel=0.02)


def test_what_completes_in_the_warm_up_is_not_counted() -> None:
    """Fast at first (a cache), slow afterwards: only the slow part counts."""
    window = half_a_second(warm_up_ns=200_000_000)
    fast = [index * 1_000_000 + 1 for index in range(190)]
    slow = [200_000_001 + index * TRANSFER_NS for index in range(40)]
    feed(window, fast + slow)
    assert rate(window) == pytest.approx(20e6, rel=1e-6)


def test_the_warm_up_ends_early_when_it_has_used_its_bytes() -> None:
    window = Window(0, 10 * NANOSECONDS, 4 * MIB, NANOSECONDS)
    feed(window, [1_000_000 * index for index in range(1, 9)])
    assert counted(window) == (4 * MIB, 4_000_000)


def test_nothing_is_counted_after_the_time_is_over() -> None:
    window = half_a_second()
    feed(window, [1 + index * TRANSFER_NS for index in range(40)])
    before = counted(window)
    assert not window.complete(100 * TRANSFER_NS, MIB)
    assert counted(window) == before


def test_the_draining_queue_is_not_counted_when_places_run_out() -> None:
    window = Window(0, 0, 1 << 40, 16 * NANOSECONDS)
    feed(window, [1 + index * TRANSFER_NS for index in range(100)])
    window.run_out()
    window.complete(200 * TRANSFER_NS, MIB)
    assert rate(window) == pytest.approx(20e6, rel=1e-6)


def test_a_burst_that_runs_out_in_the_middle_of_a_cluster_is_not_biased() -> None:
    """Twelve clusters of eight and half of a thirteenth: the half would add 4 %."""
    window = Window(0, 0, 1 << 40, 16 * NANOSECONDS)
    feed(window, [1 + i // 8 * 8 * TRANSFER_NS + i % 8 * 1000 for i in range(100)])
    window.run_out()
    assert rate(window) == pytest.approx(20e6, rel=0.01)


def test_a_burst_that_ends_inside_its_first_slice_counts_what_it_has() -> None:
    window = half_a_second()
    feed(window, [1 + index * 1_000_000 for index in range(11)])
    window.run_out()
    assert window.slices == []
    assert counted(window) == (10 * MIB, 10_000_000)


def test_slices_tile_the_window_and_each_holds_a_completion() -> None:
    window = half_a_second()
    feed(window, [1 + index * TRANSFER_NS for index in range(40)])
    assert window.slices == [(MIB, TRANSFER_NS)] * 10


def test_a_fast_burst_that_ends_early_still_has_slices_to_show_its_spread() -> None:
    """A long time was allowed and a tenth of a second was enough: slices of 20 ms."""
    window = Window(0, 0, 1 << 40, 60 * NANOSECONDS)
    feed(window, [1 + index * 1_000_000 for index in range(101)])
    assert window.slices == [(20 * MIB, 20_000_000)] * 5


def test_a_single_completion_gives_no_rate() -> None:
    window = half_a_second()
    window.complete(1, MIB)
    window.run_out()
    assert counted(window) == (0, 0)


@given(st.lists(st.integers(min_value=0, max_value=10**12), min_size=1))
def test_latencies_are_kept_within_a_sixty_fourth(values: list[int]) -> None:
    histogram = Histogram()
    for value in values:
        histogram.add(value)
    kept = [middle for middle, count in histogram.bins() for _ in range(count)]
    assert kept == sorted(kept)
    for exact, middle in zip(sorted(values), kept, strict=True):
        assert abs(middle - exact) <= exact / 64 + 1
    assert histogram.maximum == max(values)
