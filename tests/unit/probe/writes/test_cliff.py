"""A write cliff is found where there is one, and nowhere else more often than stated."""

from __future__ import annotations

import math
from collections.abc import Callable
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.writes.cliff import (
    FALSE_ALARM_RATE,
    FEWEST_SLICES,
    LEAST_FALL,
    Slice,
    find_cliff,
    rate_of,
)

MIB = 1 << 20
Noise = Callable[[Random, int, float], list[float]]


def independent(chance: Random, count: int, spread: float) -> list[float]:
    return [chance.gauss(0, spread) for _ in range(count)]


def heavy_tailed(chance: Random, count: int, spread: float) -> list[float]:
    """Student's t with three degrees of freedom: rare large excursions."""
    return [
        spread * chance.gauss(0, 1) / math.sqrt(max(chance.gammavariate(1.5, 1 / 1.5), 1e-3))
        for _ in range(count)
    ]


def with_pauses(chance: Random, count: int, spread: float) -> list[float]:
    """One slice in twelve takes four times as long: a drive tidying up."""
    return [chance.gauss(0, spread) - 1.4 * (chance.random() < 1 / 12) for _ in range(count)]


def in_runs(chance: Random, count: int, spread: float) -> list[float]:
    """Each slice is like the last one by 0.6."""
    values = [0.0]
    for _ in range(count):
        values.append(0.6 * values[-1] + chance.gauss(0, 0.8 * spread))
    return values[1:]


def burst(noise: list[float], levels: tuple[float, ...] = (1.0,), at: int = 0) -> list[Slice]:
    """Slices of 4 MiB at 100 MB/s times the level: the second level from slice ``at`` on."""
    return [
        (4 * MIB, max(round(4 * MIB / (0.1 * levels[index >= at > 0]) * math.exp(-each)), 1))
        for index, each in enumerate(noise)
    ]


@pytest.mark.parametrize("noise", [independent, heavy_tailed, with_pauses])
@pytest.mark.parametrize("count", [FEWEST_SLICES, 100])
def test_noise_alone_raises_no_more_false_alarms_than_stated(noise: Noise, count: int) -> None:
    """1000 seeded bursts of one level, the noise so wide (30 %) that a fall of 20 % is common;
    the bound is the stated rate and three standard deviations of such a count."""
    chance, bursts = Random(20), 1000
    alarms = sum(find_cliff(burst(noise(chance, count, 0.3))) is not None for _ in range(bursts))
    expected = FALSE_ALARM_RATE * bursts
    assert alarms <= expected + 3 * math.sqrt(expected)


@pytest.mark.parametrize(("count", "bound"), [(FEWEST_SLICES, 0.03), (100, FALSE_ALARM_RATE)])
def test_noise_in_runs_raises_few_false_alarms_too(count: int, bound: float) -> None:
    chance, bursts = Random(21), 500
    alarms = sum(find_cliff(burst(in_runs(chance, count, 0.3))) is not None for _ in range(bursts))
    assert alarms <= bound * bursts


@pytest.mark.parametrize(("fall", "spread"), [(0.25, 0.05), (0.3, 0.1), (0.5, 0.2), (0.9, 0.3)])
def test_a_real_cliff_is_found_where_it_is(fall: float, spread: float) -> None:
    """In 95 of 100 seeded bursts at least, and within three slices of where it is."""
    chance, found = Random(22), 0
    for _ in range(100):
        at = chance.randrange(15, 85)
        cliff = find_cliff(burst(independent(chance, 100, spread), (1.0, 1 - fall), at))
        if cliff is not None and abs(cliff.after_bytes / (4 * MIB) - at) <= 3:
            found += 1
            assert cliff.before_bytes_per_second == pytest.approx(1e8, rel=0.35)
            assert cliff.fall == pytest.approx(fall, abs=0.12)
    assert found >= 95


def test_the_two_rates_and_the_bytes_before_are_those_of_a_burst_without_noise() -> None:
    cliff = find_cliff(burst([0.0] * 64, (1.0, 0.25), at=24))
    assert cliff is not None
    assert cliff.before_bytes_per_second == pytest.approx(1e8)
    assert cliff.after_bytes_per_second == pytest.approx(0.25e8)
    assert cliff.after_bytes == 24 * 4 * MIB


@pytest.mark.parametrize(
    "levels",
    [(1.0, 1.0), (1.0, 1 - LEAST_FALL + 0.01), (0.25, 1.0)],
    ids=["none", "a fall of less than a fifth", "a rise"],
)
def test_what_is_no_cliff_gives_one_rate(levels: tuple[float, float]) -> None:
    noise = independent(Random(23), 64, 0.01)
    assert find_cliff(burst(noise, levels, at=32)) is None


def test_a_short_pause_is_no_cliff() -> None:
    """Three slow slices, at the very end too, are too few to be a level."""
    noise = [0.0] * 64
    noise[61:] = [-2.0] * 3
    assert find_cliff(burst(noise)) is None


def test_levels_that_last_less_than_a_tenth_of_a_second_cannot_be_told() -> None:
    quick = [(size, nanoseconds // 40) for size, nanoseconds in burst([0.0] * 64, (1.0, 0.5), 32)]
    assert find_cliff(quick) is None


def test_too_few_slices_cannot_tell() -> None:
    assert find_cliff(burst([0.0] * (FEWEST_SLICES - 1), (1.0, 0.1), at=20)) is None
    assert find_cliff([]) is None


def test_the_same_burst_gets_the_same_answer_each_time() -> None:
    slices = burst(independent(Random(24), 64, 0.3), (1.0, 0.7), at=30)
    assert len({repr(find_cliff(slices)) for _ in range(5)}) == 1


@given(st.lists(st.tuples(st.integers(0, 1 << 40), st.integers(0, 1 << 40)), max_size=120))
def test_no_slices_whatever_are_too_much(slices: list[Slice]) -> None:
    cliff = find_cliff(slices)
    assert cliff is None or cliff.after_bytes <= sum(size for size, _ in slices)


def test_the_rate_is_of_all_slices_together() -> None:
    assert rate_of([(1000, 1_000_000_000), (3000, 1_000_000_000)]) == 2000
    assert rate_of([]) is None
