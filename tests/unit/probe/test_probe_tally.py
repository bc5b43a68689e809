"""What is counted of a place: that its rate is right on slow drives, in clusters and at the end.

Simulated completions with exact times; expected rates follow from the simulated
drive's own speed, which the code under test does not know.
"""

from __future__ import annotations

import random
from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.children.place import LEAST_TRANSFERS, Place, Tally, quantiles, tally

NANOSECONDS = 1_000_000_000
MIB = 1 << 20
TRANSFER_NS = 52_428_800
"""1 MiB at 20 MB/s."""
NEVER = 1 << 62


def rate(counted: Tally) -> float:
    return counted.transfers * MIB / counted.nanoseconds * NANOSECONDS


def figures(some: Tally) -> tuple[int, int]:
    return some.transfers, some.nanoseconds


def counted(
    times: list[int],
    *,
    warm_until: int = 0,
    warm_transfers: int = NEVER,
    length: int = NANOSECONDS // 2,
    full_until: int = NEVER,
) -> Tally:
    return tally(
        [(now, index) for index, now in enumerate(times)],
        warm_until=warm_until,
        warm_transfers=warm_transfers,
        length=length,
        full_until=full_until,
    )


def clusters(count: int, of: int, gap: int = 1000, phase: int = 1) -> list[int]:
    """So many completions at 20 MB/s, ``of`` at a time."""
    period = of * TRANSFER_NS
    return [phase + i // of * period + i % of * gap for i in range(count)]


@given(phase=st.integers(min_value=1, max_value=TRANSFER_NS))
def test_a_steady_slow_drive_is_measured_exactly_whatever_the_phase(phase: int) -> None:
    """At 20 MB/s only ten 1 MiB transfers fit in half a second; a count within fixed
    times would be off by up to a tenth."""
    times = [phase + index * TRANSFER_NS for index in range(40)]
    assert rate(counted(times, warm_until=100_000_000)) == pytest.approx(20e6, rel=1e-6)


@given(
    phase=st.integers(min_value=1, max_value=TRANSFER_NS),
    gap=st.integers(min_value=1, max_value=TRANSFER_NS // 100),
    cluster=st.integers(min_value=2, max_value=16),
)
def test_completions_in_clusters_do_not_bias_the_rate(phase: int, gap: int, cluster: int) -> None:
    """A stripe over several drives completes in clusters; the clock starts and stops at
    the first of one."""
    times = clusters(40 * cluster, cluster, gap, phase)
    assert rate(counted(times, warm_until=phase)) == pytest.approx(20e6, rel=0.01)


def test_irregular_completions_average_to_the_true_rate() -> None:
    """Exponential gaps are the worst case for a stopping rule, and both ends of the time
    are completions, so Wald's identity holds: bytes over time, both averaged, is the true
    rate. Ten transfers at each of 4000 places: 2 % is four standard errors."""
    chance = random.Random(20)
    places = []
    for _ in range(4000):
        times, now = [], 1
        while now < 2 * NANOSECONDS:
            now += 1 + round(chance.expovariate(1) * TRANSFER_NS)
            times.append(now)
        places.append(counted(times, warm_until=50_000_000))
    transfers = sum(place.transfers for place in places)
    assert transfers * MIB / sum(place.nanoseconds for place in places) * NANOSECONDS == (
        pytest.approx(20e6, rel=0.02)
    )


def test_what_completes_in_the_warm_up_is_not_counted() -> None:
    """Fast at first (a cache), slow afterwards: only the slow part counts."""
    fast = [index * 1_000_000 + 1 for index in range(190)]
    slow = [200_000_001 + index * TRANSFER_NS for index in range(40)]
    assert rate(counted(fast + slow, warm_until=200_000_000)) == pytest.approx(20e6, rel=1e-6)


def test_the_warm_up_ends_early_when_it_has_used_its_share() -> None:
    """Four of sixteen transfers warm up; the clock starts at the fifth completion."""
    times = [1_000_000 * index for index in range(1, 41)]
    early = counted(times, warm_until=10 * NANOSECONDS, warm_transfers=4, length=10_000_000)
    assert (early.transfers, early.nanoseconds) == (10, 10_000_000)
    assert list(early.latencies) == list(range(5, 15))


def test_a_place_that_was_left_in_its_warm_up_counts_nothing() -> None:
    times = [1_000_000 * index for index in range(1, 41)]
    assert figures(counted(times, warm_until=NANOSECONDS, warm_transfers=100)) == (0, 0)


def test_nothing_is_counted_after_the_time_is_over() -> None:
    times = [1 + index * TRANSFER_NS for index in range(40)]
    assert figures(counted(times)) == figures(counted([*times, 100 * TRANSFER_NS]))
    assert counted(times).transfers == 10


def test_the_draining_queue_is_not_counted_when_turns_run_out() -> None:
    """The first thread to find no turn left marks the end of a full queue."""
    times = [1 + index * TRANSFER_NS for index in range(100)]
    drained = [*times, *(200 * TRANSFER_NS + index for index in range(8))]
    whole = counted(drained, length=16 * NANOSECONDS, full_until=times[-1])
    assert rate(whole) == pytest.approx(20e6, rel=1e-6)
    assert whole.transfers >= 94, "no more than a twentieth is given up for that"


@pytest.mark.parametrize("last", range(93, 105))
def test_a_place_that_runs_out_in_the_middle_of_a_cluster_is_not_biased(last: int) -> None:
    """Twelve clusters of eight and some of a thirteenth: half of one would add 4 %."""
    run_out = counted(clusters(last, 8), length=16 * NANOSECONDS)
    assert rate(run_out) == pytest.approx(20e6, rel=0.01)


@pytest.mark.parametrize("warm", range(16, 32))
def test_a_warm_up_that_ends_in_the_middle_of_a_cluster_does_not_bias(warm: int) -> None:
    early = counted(clusters(100, 8), warm_until=NEVER, warm_transfers=warm, length=NEVER)
    assert rate(early) == pytest.approx(20e6, rel=0.01)


def test_clusters_at_any_moment_and_a_budget_of_bytes_average_to_the_true_rate() -> None:
    """As on a fast array: clusters of eight with uneven gaps, 85 transfers, a quarter of
    them to warm up. 1 % is four standard errors."""
    chance = random.Random(7)
    rates = []
    for _ in range(1000):
        times: list[int] = []
        now = chance.randrange(8 * TRANSFER_NS)
        while len(times) < 78:
            times += [now + index * TRANSFER_NS // 50 for index in range(8)]
            now += round(8 * TRANSFER_NS * chance.uniform(0.8, 1.2))
        rates.append(rate(counted(times[:78], warm_until=NEVER, warm_transfers=21, length=NEVER)))
    assert fmean(rates) == pytest.approx(20e6, rel=0.01)


def test_a_place_that_ends_early_counts_what_it_has() -> None:
    """Eight transfers at least, were it a little more than the twentieth that is given up."""
    times = [1 + index * 1_000_000 for index in range(11)]
    assert (counted(times).transfers, counted(times).nanoseconds) == (10, 10_000_000)


def test_a_very_slow_drive_is_given_time_for_eight_transfers() -> None:
    """At 2 MB/s one transfer alone takes longer than the time wanted."""
    times = [1 + index * 10 * TRANSFER_NS for index in range(30)]
    slow = counted(times, length=100_000_000)
    assert (slow.transfers, slow.nanoseconds) == (LEAST_TRANSFERS, 80 * TRANSFER_NS)


def test_a_single_completion_gives_no_rate() -> None:
    assert figures(counted([1])) == (0, 0)
    assert figures(counted([])) == (0, 0)


@given(
    gaps=st.lists(st.integers(0, 10**8), max_size=60),
    warm_until=st.integers(0, 10**9),
    warm_transfers=st.integers(0, 80),
    length=st.integers(1, 10**9),
    full_until=st.integers(0, 5 * 10**9),
)
def test_whatever_completes_the_count_is_of_whole_transfers_in_the_time(
    gaps: list[int], warm_until: int, warm_transfers: int, length: int, full_until: int
) -> None:
    times = [sum(gaps[:count]) for count in range(1, len(gaps) + 1)]
    some = counted(
        times,
        warm_until=warm_until,
        warm_transfers=warm_transfers,
        length=length,
        full_until=full_until,
    )
    assert some.transfers == len(some.latencies) <= len([t for t in times if t <= full_until])
    assert 0 <= some.nanoseconds <= min(full_until, sum(gaps))


def test_a_place_ends_when_its_time_is_over_and_eight_transfers_came() -> None:
    place = Place(start=0, most=100, warm_transfers=100, warm_up=50, length=100)
    assert place.enter(0, late=1000)
    assert not place.pass_gate(50, 3), "the clock starts here"
    assert not place.pass_gate(149, 20)
    assert not place.pass_gate(150, 10), "seven transfers since it started"
    assert place.pass_gate(150, 11)


def test_a_place_waits_four_times_its_time_for_them_and_no_longer() -> None:
    place = Place(start=0, most=100, warm_transfers=100, warm_up=1, length=100)
    assert place.enter(0, late=1000)
    place.pass_gate(1, 0)
    assert not place.pass_gate(400, 1)
    assert place.pass_gate(401, 2)


def test_the_queue_is_full_until_the_first_thread_leaves() -> None:
    place = Place(start=0, most=4, warm_transfers=4, warm_up=0, length=10)
    for now in (70, 50, 60):
        place.leave(now, 1)
    assert (place.full_until, place.zero_transfers) == (50, 3)


@given(st.lists(st.integers(min_value=0, max_value=10**12), min_size=1))
def test_quantiles_are_latencies_that_occurred_in_order(values: list[int]) -> None:
    median, nine_tenths, most, longest = quantiles(sorted(values))
    assert median <= nine_tenths <= most <= longest == max(values)
    assert {median, nine_tenths, most} <= set(values)
    assert 2 * sum(value <= median for value in values) >= len(values)
    assert 10 * sum(value <= nine_tenths for value in values) >= 9 * len(values)


def test_no_latency_has_no_quantiles() -> None:
    assert quantiles([]) == []
