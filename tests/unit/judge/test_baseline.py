"""What is usual: learned from enough, kept fixed, robust and bounded."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from random import Random

import pytest

from arraygauge.judge.baseline import (
    APART_SECONDS,
    READINGS_NEEDED,
    SPREAD_FLOOR,
    SPREAD_MARGIN,
    Baseline,
    Learning,
    Reading,
    accept,
    deviation_of,
    expected_rate,
    key_of,
    learn,
    on_hardware,
    reading_of,
)
from arraygauge.judge.robust import (
    MAD_TO_DEVIATION,
    band_deviation,
    mad,
    mann_kendall,
    theil_slope,
    weighted_median,
)
from arraygauge.probe.values import Outcome, Route
from arraygauge.theory.values import Workload
from unit.judge.passes import HOUR, KEY, RATE, Room, measured, readings

BEGINNING = Learning(key=KEY, fingerprint="as built")


def reading(index: int, rate: float = RATE, **changes: float | None) -> Reading:
    plain = Reading(moment_seconds=index * HOUR, bytes_per_second=rate, error=None, celsius=None)
    return replace(plain, **changes)  # type: ignore[arg-type]


def learned(lessons: list[Reading]) -> Learning | Baseline:
    known: Learning | Baseline = BEGINNING
    for lesson in lessons:
        assert isinstance(known, Learning)
        known = learn(known, lesson)
    return known


def baseline(lessons: list[Reading]) -> Baseline:
    known = learned(lessons)
    assert isinstance(known, Baseline)
    return known


STEADY = [reading(index) for index in range(READINGS_NEEDED)]


def test_the_mads_factor_is_the_published_one() -> None:
    """R's mad() and statsmodels: 1.482602218505602."""
    assert pytest.approx(1.482602218505602, abs=1e-14) == MAD_TO_DEVIATION
    assert mad([1, 2, 3, 4, 5, 6, 7, 8, 100], factor=1) == 2


def test_mann_kendall_gives_the_published_example() -> None:
    series = (12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7)
    found = mann_kendall(series)
    assert found.score == 54
    assert found.variance == pytest.approx(332.667, abs=1e-3)
    assert found.deviations == pytest.approx(2.9058, abs=1e-4)
    assert theil_slope(list(enumerate(series))) == pytest.approx(0.56667, abs=1e-5)


def test_theils_slope_is_that_of_hollander_and_wolfe() -> None:
    """Example 9.1 of Nonparametric Statistical Methods."""
    points = [(1, 1.26), (2, 1.27), (3, 1.12), (4, 1.16), (5, 1.03)]
    assert theil_slope(points) == pytest.approx(-0.05625)


def test_a_series_of_one_value_has_no_trend_and_no_slope() -> None:
    assert mann_kendall([3.0] * 5).deviations == 0
    assert theil_slope([(1.0, 2.0), (1.0, 3.0)]) is None


def test_a_heavy_value_is_the_weighted_median() -> None:
    assert weighted_median([(1, 1), (2, 1), (9, 5)]) == 9


def test_so_many_readings_are_needed_and_no_fewer() -> None:
    assert isinstance(learned(STEADY[:-1]), Learning)
    assert baseline(STEADY).learned_from == READINGS_NEEDED


def test_readings_in_quick_succession_are_learned_as_one() -> None:
    close = [reading(0, moment_seconds=index * (APART_SECONDS - 1)) for index in range(2)]
    known = learned(close)
    assert isinstance(known, Learning)
    assert len(known.readings) == 1


def test_a_clock_set_back_does_not_stop_learning() -> None:
    known = learned([reading(1000), reading(3)])
    assert isinstance(known, Learning)
    assert len(known.readings) == 2


def test_a_rate_that_repeats_perfectly_still_gets_the_floors_spread() -> None:
    usual = baseline(STEADY)
    assert (usual.bytes_per_second, usual.spread) == (RATE, SPREAD_FLOOR)
    assert deviation_of(usual, reading(0, RATE * 0.995)).spreads == pytest.approx(-0.5)


def test_wild_readings_move_neither_middle_nor_spread() -> None:
    tame = list(islice(readings(Random(3), Room(spread=0.02, wild=0)), READINGS_NEEDED))
    wild = [
        replace(each, bytes_per_second=RATE / 10) if index % 20 == 0 else each
        for index, each in enumerate(tame)
    ]
    usual, other = baseline(tame), baseline(wild)
    assert other.bytes_per_second == pytest.approx(usual.bytes_per_second, rel=0.005)
    assert other.spread == pytest.approx(usual.spread, rel=0.25)


def test_the_spread_learned_is_the_noise_s_own_with_its_margin() -> None:
    spreads = []
    for seed in range(20):
        room = Room(spread=0.02, autocorrelation=0, swing=0, wild=0)
        lessons = list(islice(readings(Random(seed), room), READINGS_NEEDED))
        spreads.append(baseline(lessons).spread)
    assert sum(spreads) / 20 == pytest.approx(0.02 * SPREAD_MARGIN, rel=0.06)


def test_noise_with_long_tails_is_as_wide_as_most_of_it() -> None:
    """A drive that others use for two hours of seven, and then gives a half more: by the MAD it
    would stray by nothing. 85 % of a normal distribution lie within 1.44 deviations (tables of
    it, from memory)."""
    busy = [
        replace(each, bytes_per_second=1.5 * RATE) if index % 7 < 2 else each
        for index, each in enumerate(STEADY)
    ]
    usual = baseline(busy)
    assert usual.bytes_per_second == pytest.approx(RATE)
    assert usual.spread == pytest.approx(SPREAD_MARGIN * 0.5 / 1.44, rel=0.001)


def test_the_band_of_some_values_counts_from_their_median() -> None:
    """Eight of ten within 4 of 0: 80 % of a normal distribution lie within 1.2816 deviations."""
    values = [-9.0, -4.0, -3.0, -2.0, 0.0, 0.0, 1.0, 3.0, 4.0, 8.0]
    assert band_deviation(values, 0.8) == pytest.approx(4 / 1.2816, rel=1e-4)


def warm(index: int, per_celsius: float, random: Random) -> Reading:
    """A warm and a cold half of each day, 30 to 42 degrees."""
    celsius = 30.0 + abs(index % 24 - 12)
    share = per_celsius * (celsius - 36) + random.gauss(0, 0.003)
    return reading(index, RATE * (1 + share), celsius=celsius)


def test_temperature_is_taken_out_where_the_rate_follows_it() -> None:
    random = Random(1)
    usual = baseline([warm(index, -0.004, random) for index in range(READINGS_NEEDED)])
    assert usual.warmth is not None
    assert usual.warmth.per_celsius == pytest.approx(-0.004, rel=0.1)
    assert usual.spread == SPREAD_FLOOR
    hot = reading(0, RATE * (1 - 0.004 * 6), celsius=42.0)
    assert deviation_of(usual, hot).share == pytest.approx(0, abs=0.002)


def test_temperature_is_left_alone_where_the_rate_does_not_follow_it() -> None:
    followers = 0
    for seed in range(20):
        random = Random(seed)
        usual = baseline([warm(index, 0.0, random) for index in range(READINGS_NEEDED)])
        followers += usual.warmth is not None
    assert followers == 0


def test_a_drive_hotter_than_ever_learned_is_not_excused_by_it() -> None:
    random = Random(1)
    usual = baseline([warm(index, -0.004, random) for index in range(READINGS_NEEDED)])
    assert expected_rate(usual, 80.0) == expected_rate(usual, 42.0)


def test_an_unknown_temperature_makes_a_reading_less_sure_where_it_matters() -> None:
    random = Random(1)
    usual = baseline([warm(index, -0.004, random) for index in range(READINGS_NEEDED)])
    slow = reading(0, RATE * 0.9)
    assert abs(deviation_of(usual, slow).spreads) < 0.5 * 0.1 / usual.spread


def test_a_reading_with_a_wide_interval_weighs_less() -> None:
    usual = baseline([replace(each, error=0.004) for each in STEADY])
    as_sure, unsure, unknown = (
        deviation_of(usual, reading(0, RATE * 0.95, error=error)).spreads
        for error in (0.004, 0.05, None)
    )
    assert as_sure == pytest.approx(-5)
    assert unsure == pytest.approx(-1, abs=0.03)
    assert as_sure < unknown < unsure


def test_intervals_count_only_beyond_the_spread_where_none_were_learned() -> None:
    usual = baseline(STEADY)
    assert deviation_of(usual, reading(0, RATE * 0.95, error=0.01)).spreads == pytest.approx(-5)
    assert deviation_of(usual, reading(0, RATE * 0.95, error=0.02)).spreads > -3


def test_a_device_that_changes_while_learned_is_not_learned_until_it_settles() -> None:
    """Half as fast from the middle of the week on: the first half is forgotten."""
    half = READINGS_NEEDED // 2
    moved = [reading(index, RATE if index < half else RATE / 2) for index in range(READINGS_NEEDED)]
    known = learned(moved)
    assert isinstance(known, Learning)
    later = [reading(READINGS_NEEDED + index, RATE / 2) for index in range(half)]
    for lesson in later:
        assert isinstance(known, Learning)
        known = learn(known, lesson)
    assert isinstance(known, Baseline)
    assert known.bytes_per_second == RATE / 2


def test_new_hardware_is_learned_anew_and_the_same_is_not() -> None:
    usual = baseline(STEADY)
    assert on_hardware(usual, KEY, "as built") is usual
    assert on_hardware(usual, KEY, "a drive replaced") == Learning(
        key=KEY, fingerprint="a drive replaced"
    )
    assert on_hardware(None, KEY, "as built") == BEGINNING


def test_accepting_learns_anew_from_what_was_seen_since() -> None:
    usual = baseline(STEADY)
    since = [reading(index, RATE / 2) for index in range(5)]
    assert accept(usual) == BEGINNING
    assert accept(usual, since).readings == tuple(since)


def test_a_measurement_that_may_not_be_judged_is_a_gap() -> None:
    assert reading_of(measured(None)) is None
    assert reading_of(measured(RATE, outcome=Outcome.GAVE_WAY)) is None


def test_the_error_is_that_of_a_95_percent_interval() -> None:
    found = reading_of(measured(RATE, half=0.0196))
    assert found is not None
    assert found.error == pytest.approx(0.01, rel=1e-3)


def test_only_like_is_compared_with_like() -> None:
    """By device, direction, what else was asked, and the route."""
    plain = measured(RATE)
    deeper = Workload(direction=plain.workload.direction, queue_depth=32)
    keys = {
        key_of("a", plain),
        key_of("b", plain),
        key_of("a", replace(plain, route=Route.FILE)),
        key_of("a", replace(plain, workload=deeper)),
    }
    assert len(keys) == 4
    assert key_of("a", plain) == key_of("a", replace(plain, bytes_per_second=1.0, device="sdz"))
