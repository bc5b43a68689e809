"""What several places show together: the median, the interval it lies in, the slope."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.centre import (
    FEWEST_FOR_INTERVAL,
    Point,
    centre_of,
    lower_rank,
    median_interval,
    slope_of,
)

RANKS = {6: 1, 9: 2, 10: 2, 12: 3, 15: 4, 17: 5, 20: 6, 25: 8}
"""Lower rank of the 95 % confidence interval of a median by number of values; the upper one
is as far from the other end. Published tables, such as Le Boudec, Performance Evaluation of
Computer and Communication Systems (2010), appendix A (which one is from memory)."""

rates = st.floats(min_value=1e3, max_value=1e10)
fractions = st.floats(min_value=0, max_value=1)
points = st.lists(st.tuples(fractions, rates), min_size=1, max_size=30)


@pytest.mark.parametrize(("count", "rank"), RANKS.items())
def test_the_ranks_of_the_interval_are_those_of_the_published_table(count: int, rank: int) -> None:
    assert lower_rank(count) == rank


def test_the_published_example_of_25_values_lies_between_the_8th_and_the_18th() -> None:
    text = "1.3 1.5 1.8 2.6 2.8 3.5 4.0 4.8 8.0 9.5 12 14 19 23 41 80 100 110 120 190 240 250 300"
    values = [float(word) for word in f"{text} 340 580".split()]
    Random(3).shuffle(values)
    assert median_interval(values) == (4.8, 110)


@pytest.mark.parametrize("count", range(FEWEST_FOR_INTERVAL))
def test_fewer_than_six_places_give_no_interval(count: int) -> None:
    """Of five, the lowest and the highest enclose the median in 15 of 16 cases: 93.75 %."""
    assert lower_rank(count) is None
    centre = centre_of([(0.5, 1e8)] * count, may_slope=False)
    assert (centre is None) == (count == 0)
    assert centre is None or (centre.low, centre.high, centre.uncertainty) == (None, None, None)


@given(st.integers(FEWEST_FOR_INTERVAL, 3000))
def test_the_ranks_are_the_closest_that_enclose_the_median_with_95_per_cent(count: int) -> None:
    """Whole numbers, straight from the definition: the chance that a fair coin falls on one
    side fewer than ``rank`` times in ``count``."""
    rank = lower_rank(count)
    assert rank is not None
    assert 40 * _cases_below(rank, count) <= 2**count < 40 * _cases_below(rank + 1, count)


def _cases_below(rank: int, count: int) -> int:
    """Of 2**count outcomes, those with fewer than ``rank`` heads."""
    total, ways = 0, 1
    for heads in range(rank):
        total += ways
        ways = ways * (count - heads) // (heads + 1)
    return total


def stratified(chance: Random, count: int) -> list[float]:
    return [(index % 6 + chance.random() * 7 / 8) / 6 for index in range(count)]


def covered(slope: float, noise: float, count: int, *, skewed: bool = False) -> float:
    """How often the interval holds the true median of a simulated device."""
    chance, hits, tries = Random(11), 0, 2000
    for _ in range(tries):
        seen: list[Point] = []
        for where in stratified(chance, count):
            error = chance.expovariate(1) - 0.6931 if skewed else chance.gauss(0, 1)
            seen.append((where, 1e8 * (1 + slope * (where - 0.5)) * (1 + noise * error)))
        centre = centre_of(seen, may_slope=True)
        assert centre is not None
        assert centre.low is not None
        assert centre.high is not None
        hits += centre.low <= 1e8 <= centre.high
    return hits / tries


@pytest.mark.parametrize("count", [6, 12, 24])
@pytest.mark.parametrize("noise", [0.005, 0.03])
@pytest.mark.parametrize("skewed", [False, True])
def test_the_interval_of_a_device_without_slope_holds_its_rate_95_times_in_100(
    *, count: int, noise: float, skewed: bool
) -> None:
    """2000 simulated devices each; 1.5 % is three standard errors."""
    assert covered(0, noise, count, skewed=skewed) > 0.935


@pytest.mark.parametrize("count", [6, 12, 24])
@pytest.mark.parametrize("slope", [-0.08, -0.15, -0.67])
def test_the_interval_of_a_device_that_slopes_is_hardly_less_sure(
    *, count: int, slope: float
) -> None:
    """Taking out the slope costs two of 100 at most: its own doubt is not in the interval."""
    assert covered(slope, 0.02, count) > 0.92


def test_of_a_disk_that_halves_from_rim_to_hub_the_rate_at_the_middle_is_given() -> None:
    """From 200 MB/s to 100 MB/s: 150 in the middle, the slope two thirds of that."""
    disk = [(where, 200e6 - 100e6 * where) for where in stratified(Random(1), 6)]
    centre = centre_of(disk, may_slope=True)
    assert centre is not None
    assert centre.rate == pytest.approx(150e6)
    assert centre.slope == pytest.approx(-2 / 3)
    assert centre.uncertainty == pytest.approx(0, abs=1e-6)


def test_the_published_example_of_theil_s_slope() -> None:
    """Hollander and Wolfe, Nonparametric Statistical Methods, example 9.1 (from memory): five
    points at 1 to 5 slope by -0.05625; here over a device, four such steps long."""
    heights = [1.26, 1.27, 1.12, 1.16, 1.03]
    seen = [(step / 4, height) for step, height in enumerate(heights)]
    assert slope_of(seen) == pytest.approx(4 * -0.05625)


def test_two_bad_places_of_twelve_do_not_bend_the_slope() -> None:
    disk = [(where, 200e6 - 100e6 * where) for where in stratified(Random(1), 12)]
    disk[3], disk[8] = (disk[3][0], 5e6), (disk[8][0], 5e6)
    centre = centre_of(disk, may_slope=True)
    assert centre is not None
    assert centre.rate == pytest.approx(150e6, rel=0.02)


def test_places_that_differ_by_noise_have_no_slope() -> None:
    """Within 3 %: in 1000 simulated devices of twelve places not once in a hundred."""
    chance, found = Random(2), 0
    for _ in range(1000):
        seen = [(where, chance.gauss(1e8, 3e6)) for where in stratified(chance, 12)]
        found += slope_of(seen) is not None
    assert found < 10


def test_a_solid_state_drive_is_never_said_to_slope() -> None:
    drive = [(where, 200e6 - 100e6 * where) for where in stratified(Random(1), 6)]
    centre = centre_of(drive, may_slope=False)
    assert centre is not None
    assert centre.slope is None
    assert centre.low == min(rate for _, rate in drive)
    assert centre.high == max(rate for _, rate in drive)


def test_places_in_a_corner_of_the_device_say_nothing_of_its_middle() -> None:
    """Stored data only in the first tenth: noise there would be stretched to the middle."""
    chance = Random(4)
    corner = [(chance.uniform(0, 0.1), chance.gauss(1e8, 5e6)) for _ in range(12)]
    centre = centre_of(corner, may_slope=True)
    assert centre is not None
    assert centre.slope is None
    assert centre.rate == pytest.approx(1e8, rel=0.06)


@given(points)
def test_without_slope_the_rate_and_its_interval_lie_among_what_was_measured(
    seen: list[Point],
) -> None:
    centre = centre_of(seen, may_slope=False)
    assert centre is not None
    measured = [rate for _, rate in seen]
    assert min(measured) <= centre.rate <= max(measured)
    if centre.low is not None and centre.high is not None:
        assert {centre.low, centre.high} <= set(measured)
        assert centre.low <= centre.rate <= centre.high


@given(points, st.randoms())
def test_the_order_of_the_places_does_not_matter(seen: list[Point], chance: Random) -> None:
    centre = centre_of(seen, may_slope=True)
    shuffled = list(seen)
    chance.shuffle(shuffled)
    assert centre_of(shuffled, may_slope=True) == centre


@given(points)
def test_whatever_the_places_the_centre_lies_in_its_interval(seen: list[Point]) -> None:
    centre = centre_of(seen, may_slope=True)
    assert centre is not None
    if centre.low is not None and centre.high is not None:
        assert centre.low <= centre.rate <= centre.high


@given(points, st.floats(min_value=0.01, max_value=100))
def test_rates_in_another_unit_give_the_same_centre_in_that_unit(
    seen: list[Point], factor: float
) -> None:
    plain = centre_of(seen, may_slope=False)
    scaled = centre_of([(where, rate * factor) for where, rate in seen], may_slope=False)
    assert plain is not None
    assert scaled is not None
    assert scaled.rate == pytest.approx(plain.rate * factor)
