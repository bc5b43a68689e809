"""What two readings of a device's counters tell, and when they tell nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.counters import IoCounters, parse_stat
from arraygauge.judge.passive import Gap, GapReason, Interval, interval_between
from arraygauge.judge.passive.intervals import joined

BEFORE = parse_stat("100 0 2000 500 50 0 1000 300 0 700 800 0 0 0 0 5 9")
WRAP_MS = 2**32


def later(**changes: float) -> IoCounters:
    """Two seconds on: 20 reads of 64 KiB that took 25 ms each, 500 ms busy."""
    values: dict[str, float] = {
        "reads": 120,
        "read_bytes": BEFORE.read_bytes + 20 * 65536,
        "read_seconds": BEFORE.read_seconds + 0.5,
        "busy_seconds": BEFORE.busy_seconds + 0.5,
        "weighted_seconds": BEFORE.weighted_seconds + 0.6,
    }
    return replace(BEFORE, **(values | changes))  # type: ignore[arg-type]


def test_the_kernel_documents_example_is_told_as_it_tells_it() -> None:
    """Two lines of one device's diskstats, as kept in the project's reference from the kernel's
    documents: 6 writes of 16,384 B in all, 2.333 ms a write, 14 ms busy."""
    first = parse_stat(
        "255999 814 12369153 47919 996852 81 36123024 425995 0 301795 580470 0 0 0 0 60602 106555"
    )
    second = parse_stat(
        "255999 814 12369153 47919 996858 81 36123056 426009 0 301809 580491 0 0 0 0 60605 106562"
    )
    told = interval_between(first, second, 2.0, 2.0)
    assert isinstance(told, Interval)
    assert (told.writes, told.moved_bytes) == (6, 16384)
    assert told.wait_seconds == pytest.approx(0.002333, abs=1e-6)
    assert told.busy_seconds == pytest.approx(0.014)


def test_rates_demand_wait_queue_and_utilisation_follow_from_the_differences() -> None:
    told = interval_between(BEFORE, later(), 2.0, 2.0)
    assert isinstance(told, Interval)
    assert told.bytes_per_second == 655360
    assert told.operations_per_second == 10
    assert told.demand_seconds_per_byte == pytest.approx(0.5 / 1310720)
    assert told.wait_seconds == pytest.approx(0.025)
    assert told.mean_queue == pytest.approx(0.3)
    assert told.utilisation == pytest.approx(0.25)


def test_nothing_done_has_no_wait_and_no_demand() -> None:
    told = interval_between(BEFORE, BEFORE, 2.0, 2.0)
    assert isinstance(told, Interval)
    assert (told.wait_seconds, told.demand_seconds_per_byte, told.utilisation) == (None, None, 0)


def test_a_time_that_wraps_is_counted_through() -> None:
    """Times are 32-bit milliseconds: iostats.rst says that counters wrap."""
    near = replace(BEFORE, read_seconds=(WRAP_MS - 200) / 1000)
    told = interval_between(near, later(read_seconds=0.3), 2.0, 2.0)
    assert isinstance(told, Interval)
    assert told.read_seconds == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("earlier", "now", "seconds", "reason"),
    [
        (None, BEFORE, 2.0, GapReason.NOT_READ),
        (BEFORE, None, 2.0, GapReason.NOT_READ),
        (BEFORE, later(reads=3), 2.0, GapReason.COUNTERS_RESET),
        (BEFORE, later(flushes=0), 2.0, GapReason.COUNTERS_RESET),
        (BEFORE, later(read_seconds=0.1), 2.0, GapReason.UNTOLD_WRAP),
        (BEFORE, later(), 9.0, GapReason.CLOCK),
        (BEFORE, later(), 0.0, GapReason.CLOCK),
        (BEFORE, later(), -3600.0, GapReason.CLOCK),
        (BEFORE, later(busy_seconds=31.0), 2.0, GapReason.COUNTED_LATE),
    ],
)
def test_what_cannot_be_told_is_a_gap(
    earlier: IoCounters | None, now: IoCounters | None, seconds: float, reason: GapReason
) -> None:
    assert interval_between(earlier, now, seconds, 2.0) == Gap(reason=reason)


counters = st.builds(
    lambda numbers: parse_stat(" ".join(map(str, numbers))),
    st.tuples(*(st.integers(0, 2**32 - 1) for _ in range(17))),
)


@given(earlier=counters, now=counters, seconds=st.floats(0.1, 4.0))
def test_no_pair_of_readings_makes_a_negative_figure_or_more_busy_time_than_passed(
    earlier: IoCounters, now: IoCounters, seconds: float
) -> None:
    told = interval_between(earlier, now, seconds, 2.0)
    if isinstance(told, Interval):
        assert told.busy_seconds <= 1.05 * seconds + 0.05
        assert min(told.operations, told.moved_bytes, told.read_seconds, told.mean_queue) >= 0


def test_joined_intervals_are_one_longer_interval() -> None:
    one = interval_between(BEFORE, later(), 2.0, 2.0)
    assert isinstance(one, Interval)
    both = joined([one, one])
    assert both.seconds == 4
    assert both.reads == 2 * one.reads
    assert both.wait_seconds == pytest.approx(one.wait_seconds)
    assert both.bytes_per_second == pytest.approx(one.bytes_per_second)
