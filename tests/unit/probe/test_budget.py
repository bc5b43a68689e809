"""The budget: no hour and no day holds more than its limit, whatever the clock is set to."""

from __future__ import annotations

from datetime import time
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.budget import (
    DAY_SECONDS,
    HOUR_SECONDS,
    Allowance,
    BudgetLimits,
    Spending,
    allowance,
    is_quiet,
)
from arraygauge.probe.quiet_hours import QuietHours, parse_quiet_hours
from arraygauge.probe.writes.endurance import write_allowance

NOW = 1_800_000_000.0
LIMITS = BudgetLimits(hour_bytes=1000, hour_seconds=60.0, day_bytes=3000, day_seconds=150.0)


def spent(ago: float, moved: int = 0, busy: float = 0.0) -> Spending:
    return Spending(
        device_id="a", started_at_seconds=NOW - ago, read_bytes=moved, busy_seconds=busy
    )


def test_an_untouched_device_has_its_whole_hour() -> None:
    assert allowance(LIMITS, [], NOW) == Allowance(bytes_left=1000, seconds_left=60.0)


def test_reads_and_writes_count_alike() -> None:
    entry = Spending(device_id="a", started_at_seconds=NOW - 9, read_bytes=300, written_bytes=200)
    assert allowance(LIMITS, [entry], NOW).bytes_left == 500


def test_what_is_older_than_an_hour_counts_for_the_day_only() -> None:
    left = allowance(LIMITS, [spent(3601, 1000), spent(3601, 900)], NOW)
    assert left.bytes_left == 1000
    left = allowance(LIMITS, [spent(3601, 1000), spent(3602, 1600)], NOW)
    assert left.bytes_left == 400


def test_a_burst_counts_until_its_end_has_left_the_hour() -> None:
    assert allowance(LIMITS, [spent(3605, 400, busy=10)], NOW).bytes_left == 600
    assert allowance(LIMITS, [spent(3610, 400, busy=10)], NOW).bytes_left == 1000


def test_an_empty_hour_says_what_is_spent_and_when_there_is_more() -> None:
    left = allowance(LIMITS, [spent(3000, 600), spent(2000, 400)], NOW)
    assert left.bytes_left == 0
    assert left.why_none == "the budget of 1000 B an hour is spent"
    assert left.more_at_seconds == NOW + 600


def test_busy_seconds_run_out_by_themselves() -> None:
    left = allowance(LIMITS, [spent(100, 1, busy=60)], NOW)
    assert (left.bytes_left, left.seconds_left) == (999, 0)
    assert left.why_none == "the budget of 60.0 s an hour is spent"


def test_of_two_limits_used_up_the_one_that_lasts_longer_is_named() -> None:
    left = allowance(LIMITS, [spent(20 * HOUR_SECONDS, 2000), spent(100, 1000)], NOW)
    assert left.why_none == "the budget of 2.93 KiB a day is spent"
    assert left.more_at_seconds == NOW - 20 * HOUR_SECONDS + DAY_SECONDS


def test_an_entry_of_the_future_counts_as_just_begun() -> None:
    """The clock was set back by a year: the budget is no larger for it."""
    left = allowance(LIMITS, [spent(-365 * DAY_SECONDS, 1000)], NOW)
    assert left.bytes_left == 0
    assert left.more_at_seconds == NOW + HOUR_SECONDS


def test_a_limit_of_nothing_is_not_worth_waiting_for() -> None:
    left = allowance(BudgetLimits(hour_bytes=0), [], NOW)
    assert left.why_none is not None
    assert left.more_at_seconds is None


gaps = st.floats(0, 5000).map(lambda value: round(value, 1))
wishes = st.tuples(gaps, st.integers(1, 900), st.integers(1, 600).map(lambda tenths: tenths / 10))


@given(st.lists(wishes, max_size=60))
def test_no_hour_and_no_day_ever_holds_more_than_its_limit(
    asked: list[tuple[float, int, float]],
) -> None:
    """A greedy prober takes all it is given; windows are tried at every edge of a burst."""
    taken: list[Spending] = []
    now = 0.0
    for gap, wanted, lasting in asked:
        now += gap
        left = allowance(LIMITS, taken, now)
        moved, busy = min(wanted, left.bytes_left), min(lasting, left.seconds_left)
        taken.append(
            Spending(device_id="a", started_at_seconds=now, read_bytes=moved, busy_seconds=busy)
        )
        now += busy
    edges = [
        (each.started_at_seconds, each.started_at_seconds + each.busy_seconds) for each in taken
    ]
    for window, most_bytes, most_seconds in (
        (HOUR_SECONDS, LIMITS.hour_bytes, LIMITS.hour_seconds),
        (DAY_SECONDS, LIMITS.day_bytes, LIMITS.day_seconds),
    ):
        for begin in {start for start, _ in edges} | {end - window for _, end in edges}:
            inside = [
                each
                for each, (start, end) in zip(taken, edges, strict=True)
                if end > begin and start < begin + window
            ]
            assert sum(each.moved_bytes for each in inside) <= most_bytes
            assert sum(each.busy_seconds for each in inside) <= most_seconds + 1e-6


ages = st.integers(-100_000, 100_000).map(float)
histories = st.lists(
    st.builds(spent, ages, st.integers(0, 1500), st.integers(0, 90).map(float)), max_size=12
)


@given(histories, st.integers(0, 400_000).map(float))
def test_a_clock_set_back_never_grants_more(entries: list[Spending], back: float) -> None:
    before, after = allowance(LIMITS, entries, NOW), allowance(LIMITS, entries, NOW - back)
    assert after.bytes_left <= before.bytes_left
    assert after.seconds_left <= before.seconds_left


@given(histories)
def test_more_is_there_at_the_time_told_and_not_before(entries: list[Spending]) -> None:
    past = [each for each in entries if each.started_at_seconds <= NOW]
    left = allowance(LIMITS, past, NOW)
    empty = left.bytes_left == 0 or left.seconds_left == 0
    assert empty == (left.why_none is not None)
    if left.more_at_seconds is not None:
        assert allowance(LIMITS, past, left.more_at_seconds).why_none is None
        assert allowance(LIMITS, past, left.more_at_seconds - 0.5).why_none is not None


@given(histories, st.data())
def test_a_further_entry_never_grants_more(entries: list[Spending], data: st.DataObject) -> None:
    fewer = entries[: data.draw(st.integers(0, len(entries)))]
    assert allowance(LIMITS, entries, NOW).bytes_left <= allowance(LIMITS, fewer, NOW).bytes_left


@pytest.mark.parametrize(
    ("clock", "quiet"),
    [("21:59", False), ("22:00", True), ("23:59", True), ("00:00", True), ("06:00", False)],
)
def test_quiet_hours_may_pass_midnight(clock: str, quiet: bool) -> None:
    limits = BudgetLimits(quiet_hours=(parse_quiet_hours("22:00-06:00"),))
    assert is_quiet(limits, time.fromisoformat(clock)) is quiet


def test_several_quiet_spans_hold_side_by_side() -> None:
    spans = tuple(parse_quiet_hours(text) for text in ("9:00-12:30", "13:00 - 24:00"))
    limits = BudgetLimits(quiet_hours=spans)
    assert [is_quiet(limits, time(hour, 45)) for hour in (8, 11, 12, 23)] == [
        False,
        True,
        False,
        True,
    ]
    assert not is_quiet(BudgetLimits(), time(3, 0))


clock_times = st.times().map(lambda value: value.replace(second=0, microsecond=0))


@given(clock_times, clock_times, st.times())
def test_a_span_and_its_opposite_share_the_day(start: time, end: time, moment: time) -> None:
    if start == end:
        return
    span, opposite = QuietHours(start=start, end=end), QuietHours(start=end, end=start)
    assert span.contains(moment) is not opposite.contains(moment)


@given(clock_times, clock_times)
def test_a_span_is_read_as_it_is_written(start: time, end: time) -> None:
    if start != end:
        text = f"{start:%H:%M}-{end:%H:%M}"
        assert parse_quiet_hours(text) == QuietHours(start=start, end=end)


@pytest.mark.parametrize("text", ["22-06", "22:00", "25:00-06:00", "24:30-06:00", "22:60-1:00", ""])
def test_what_is_no_span_of_hours_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a span of hours"):
        parse_quiet_hours(text)


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="begins and ends at the same time"):
        parse_quiet_hours("00:00-24:00")


def test_a_rated_endurance_gives_a_thousandth_a_year() -> None:
    left = write_allowance(BudgetLimits(), 600 * 10**12, 10**12, 200 * 10**9)
    assert (left.year_bytes, left.bytes_left) == (600 * 10**9, 400 * 10**9)
    assert not left.assumed
    assert left.basis == "rated endurance 600 TB"
    assert left.why_none is None


def test_without_a_rating_a_cautious_endurance_is_assumed_and_labelled() -> None:
    """Common practice, no published source: 100 writes of the whole drive."""
    left = write_allowance(BudgetLimits(), None, 4 * 10**12, 0)
    assert left.bytes_left == 400 * 10**9
    assert left.assumed
    assert "common practice, no published source" in left.basis


def test_nothing_is_written_where_neither_endurance_nor_size_is_known() -> None:
    left = write_allowance(BudgetLimits(), None, None, 0)
    assert left.bytes_left == 0
    assert left.why_none is not None
    assert "endurance_terabytes_written" in left.why_none


def test_a_year_that_is_used_up_says_so() -> None:
    left = write_allowance(BudgetLimits(), 10**12, None, 2 * 10**9)
    assert left.bytes_left == 0
    assert left.why_none == "a year's share of its endurance, 1 GB, has been written"


def test_a_share_of_nought_turns_writes_off() -> None:
    left = write_allowance(BudgetLimits(endurance_share_per_year=0.0), 10**12, None, 0)
    assert left.why_none is not None
    assert "endurance_share_per_year" in left.why_none


def test_an_hour_of_the_defaults_is_part_of_their_day() -> None:
    limits = BudgetLimits()
    for smaller, larger in pairwise((0, limits.hour_bytes, limits.day_bytes)):
        assert smaller < larger
    assert 0 < limits.hour_seconds < limits.day_seconds < 0.01 * DAY_SECONDS
