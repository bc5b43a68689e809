"""Drift: found soon, told what it is, and not seen where there is none."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import asdict, replace
from itertools import islice
from random import Random
from statistics import median

import pytest

from arraygauge.judge.baseline import (
    READINGS_NEEDED,
    Baseline,
    Learning,
    Reading,
)
from arraygauge.judge.change import CORRELATED, Shape
from arraygauge.judge.charts import cusum_run_length
from arraygauge.judge.drift import (
    LONG_UNMEASURED,
    QUIET_PASSES,
    RECENT,
    SUMS,
    Course,
    DriftFinding,
    Watch,
    Watched,
    accept_present,
    follow,
    present_level,
    watch_of,
)
from unit.judge.passes import HOUR, RATE, Room, false_alarms, finding, fresh, readings

QUIET = READINGS_NEEDED + 100
"""Passes before a change: learned, and a hundred quiet ones seen."""
ROOMS = [
    Room(spread=spread, autocorrelation=correlation)
    for spread in (0.003, 0.01, 0.015)
    for correlation in (0.0, 0.3)
]
PERFECT = Room(spread=0.0, autocorrelation=0.0, swing=0.0, wild=0.0)


def creeping(per_pass: float) -> Callable[[int], float]:
    return lambda index: -per_pass * max(0, index - QUIET + 1)


def stepping(share: float) -> Callable[[int], float]:
    return lambda index: share if index >= QUIET else 0.0


def fed(watched: Watched, lessons: Iterable[Reading | None]) -> Watched:
    for lesson in lessons:
        watched = follow(watched, lesson)
    return watched


def after(
    passes: int, change: Callable[[int], float], room: Room = PERFECT, seed: int = 1
) -> Watched:
    """So many passes after the change began."""
    return fed(fresh(), islice(readings(Random(seed), room, change), QUIET + passes))


def found(watched: Watched) -> DriftFinding:
    seen = finding(watched)
    assert seen is not None
    return seen


def delay(change: Callable[[int], float], room: Room, seed: int) -> int:
    """Passes after the change began until it was found."""
    watched = fresh()
    for index, reading in enumerate(readings(Random(seed), room, change)):
        watched = follow(watched, reading)
        if index >= QUIET and watched.state.course is Course.SLOWER:
            return index - QUIET + 1
    raise AssertionError("readings have no end")


def test_the_run_length_that_is_stated_is_the_charts() -> None:
    """And beyond that of an array of seven subjects, probed each 900 s for 50 years."""
    computed = cusum_run_length(SUMS.reference, SUMS.decision, deviation=CORRELATED)
    assert computed == pytest.approx(QUIET_PASSES, rel=0.01)
    assert computed > 50 * 7 * 365 * 96


@pytest.mark.parametrize("room", ROOMS, ids=str)
def test_one_per_cent_a_pass_is_found_within_twelve_passes(room: Room) -> None:
    delays = [delay(creeping(0.01), room, seed) for seed in range(12)]
    assert max(delays) <= 12


def test_one_per_cent_a_pass_is_mostly_found_in_twelve_even_in_the_worst_noise() -> None:
    """A relative spread of 2 %: ten passes in the middle, of a hundred some three after twelve."""
    delays = [delay(creeping(0.01), Room(spread=0.02), seed) for seed in range(40)]
    assert median(delays) <= 10
    assert sum(each > 12 for each in delays) <= 4
    assert max(delays) <= 15


@pytest.mark.parametrize("every_seconds", [HOUR, 900.0])
@pytest.mark.parametrize("spread", [0.003, 0.01, 0.02])
def test_quiet_months_of_an_array_of_six_open_nothing(spread: float, every_seconds: float) -> None:
    """Seven subjects, five weeks each; twenty whole years are bench.quiet_years."""
    room = Room(spread=spread, every_seconds=every_seconds)
    passes = READINGS_NEEDED + round(35 * 86400 / every_seconds)
    assert sum(false_alarms(Random(seed), room, passes) for seed in range(7)) == 0


def test_half_a_per_cent_is_never_an_alarm_on_a_rate_that_repeats_perfectly() -> None:
    assert finding(after(1000, stepping(-0.005))) is None


@pytest.mark.parametrize("wild", [-0.1, -0.9, 0.5])
def test_two_wild_readings_in_a_row_are_no_drift(wild: float) -> None:
    assert finding(after(2, stepping(wild))) is None


def test_thirty_per_cent_slower_for_good_is_found_at_the_fourth_reading() -> None:
    assert delay(stepping(-0.3), PERFECT, 1) == 4


@pytest.mark.parametrize("room", ROOMS, ids=str)
def test_a_step_is_told_as_one_with_its_size_and_its_moment(room: Room) -> None:
    seen = found(after(20, stepping(-0.08), room))
    assert (seen.course, seen.onset.shape) == (Course.SLOWER, Shape.STEP)
    assert seen.onset.moment_seconds == pytest.approx(QUIET * HOUR, abs=2 * HOUR)
    assert seen.low_share < -0.08 < seen.high_share
    assert seen.per_day is None
    assert seen.onset.sure > 0.9


@pytest.mark.parametrize("room", ROOMS, ids=str)
def test_a_trend_is_told_as_one_with_its_pace(room: Room) -> None:
    seen = found(after(20, creeping(0.01), room))
    assert (seen.course, seen.onset.shape) == (Course.SLOWER, Shape.TREND)
    assert seen.onset.moment_seconds == pytest.approx(QUIET * HOUR, abs=4 * HOUR)
    assert seen.low_share < -0.2 < seen.high_share
    assert seen.per_day == pytest.approx(-0.24, rel=0.2)
    assert seen.kendall is not None
    assert seen.kendall < -3


def test_a_trend_slower_than_the_readings_kept_is_told_from_their_medians() -> None:
    """A per cent in four days: when it is found, its beginning is some two hundred passes back."""
    seen = found(after(400, creeping(0.0001), Room(spread=0.01, autocorrelation=0.2)))
    assert seen.onset.shape is Shape.TREND
    assert seen.onset.moment_seconds == pytest.approx(QUIET * HOUR, abs=100 * HOUR)
    assert seen.share == pytest.approx(-0.04, abs=0.015)


def test_the_onset_stays_when_it_has_left_the_readings_kept() -> None:
    seen = found(after(4 * RECENT, stepping(-0.08), Room(spread=0.01)))
    assert seen.onset.moment_seconds == pytest.approx(QUIET * HOUR, abs=26 * HOUR)
    assert seen.onset.shape is Shape.STEP


def test_too_few_readings_leave_the_shape_untold() -> None:
    """Steps and trends look alike at first, where noise is large."""
    room = Room(spread=0.02)
    at_first = {
        found(after(delay(change, room, seed), change, room, seed)).onset.shape
        for change in (creeping(0.01), stepping(-0.08))
        for seed in range(8)
    }
    assert Shape.UNTOLD in at_first


@pytest.mark.parametrize(
    ("change", "right"), [(creeping(0.01), Shape.TREND), (stepping(-0.08), Shape.STEP)]
)
def test_a_shape_that_is_told_is_mostly_the_right_one(
    change: Callable[[int], float], right: Shape
) -> None:
    shapes = [found(after(16, change, Room(spread=0.015), seed)).onset.shape for seed in range(20)]
    told = len(shapes) - shapes.count(Shape.UNTOLD)
    assert told >= 10
    assert shapes.count(right) >= 0.9 * told


def test_faster_is_told_as_faster() -> None:
    seen = found(after(10, stepping(0.1)))
    assert (seen.course, seen.onset.shape) == (Course.FASTER, Shape.STEP)
    assert seen.share == pytest.approx(0.1)


def test_a_change_undone_is_over_within_six_passes() -> None:
    def mended(index: int) -> float:
        return -0.1 if QUIET <= index < QUIET + 50 else 0.0

    assert finding(after(50, mended)) is not None
    assert finding(after(56, mended)) is None


def test_a_fault_that_lasts_never_becomes_the_usual() -> None:
    watched = after(500, stepping(-0.05))
    usual = watched.usual
    assert isinstance(usual, Baseline)
    assert usual.bytes_per_second == RATE
    assert found(watched).share == pytest.approx(-0.05)


def test_accepting_makes_the_present_the_usual_after_learning_it() -> None:
    watched = accept_present(after(20, stepping(-0.1)))
    assert watch_of(watched) is Watch.LEARNING
    assert isinstance(watched.usual, Learning)
    assert len(watched.usual.readings) == 20
    lessons = islice(readings(Random(1), PERFECT, lambda _: -0.1), READINGS_NEEDED)
    again = fed(
        watched, (replace(each, moment_seconds=1e9 + each.moment_seconds) for each in lessons)
    )
    assert watch_of(again) is Watch.WATCHING
    assert isinstance(again.usual, Baseline)
    assert again.usual.bytes_per_second == pytest.approx(0.9 * RATE)
    assert finding(again) is None


def test_gaps_change_nothing_but_are_said() -> None:
    watched = after(3, stepping(-0.3))
    silent = fed(watched, [None] * LONG_UNMEASURED)
    assert (watch_of(watched), watch_of(silent)) == (Watch.WATCHING, Watch.UNMEASURED)
    assert silent.state.sums == watched.state.sums
    [one_more] = islice(readings(Random(1), PERFECT, lambda _: -0.3), 1)
    assert watch_of(follow(silent, one_more)) is Watch.WATCHING


def test_unsure_readings_take_longer_to_find_the_same_change() -> None:
    def with_error(error: float) -> int:
        watched = fed(
            fresh(),
            (replace(each, error=0.004) for each in islice(readings(Random(1), PERFECT), QUIET)),
        )
        for passed, each in enumerate(readings(Random(1), PERFECT, lambda _: -0.06), 1):
            watched = follow(watched, replace(each, error=error))
            if watched.state.course:
                return passed
        raise AssertionError("readings have no end")

    assert with_error(0.004) < with_error(0.02)


@pytest.mark.parametrize("jump", [-1e6, 1e6])
def test_a_clock_that_jumps_makes_no_drift_and_hides_none(jump: float) -> None:
    quiet = after(0, creeping(0.0), Room(spread=0.01))
    later = [
        replace(each, moment_seconds=each.moment_seconds + QUIET * HOUR + jump)
        for each in islice(readings(Random(2), Room(spread=0.01)), 100)
    ]
    watched = fed(quiet, later)
    assert finding(watched) is None
    slow = [replace(each, bytes_per_second=each.bytes_per_second * 0.9) for each in later[:12]]
    assert found(fed(watched, slow)).course is Course.SLOWER


def test_the_level_shown_lies_within_its_limits_when_all_is_quiet() -> None:
    watched = after(200, creeping(0.0), Room(spread=0.01))
    assert isinstance(watched.usual, Baseline)
    level = present_level(watched.usual, watched.state)
    assert level is not None
    assert level.low_share < level.share < level.high_share
    assert present_level(watched.usual, replace(watched, state=fresh().state).state) is None


def test_the_temperature_since_is_told() -> None:
    watched = fed(
        after(0, creeping(0.0)),
        (
            replace(each, celsius=81.0)
            for each in islice(readings(Random(1), PERFECT, stepping(-0.2)), QUIET, QUIET + 6)
        ),
    )
    assert found(watched).celsius == 81.0


def test_a_state_is_plain_numbers_and_words() -> None:
    watched = after(30, creeping(0.01), Room(spread=0.01))
    text = json.dumps(asdict(watched))
    assert len(text) < 20_000
    assert json.loads(text)["state"]["counted"] == watched.state.counted
