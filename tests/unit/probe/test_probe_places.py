"""Where on a device is read."""

from __future__ import annotations

from random import Random
from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.places import LEAST_TRANSFERS, spread_extents
from arraygauge.probe.values import Extent

MIB = 1 << 20

sizes = st.integers(min_value=0, max_value=1 << 56) | st.integers(0, 2000).map(lambda n: n * MIB)
transfers = st.sampled_from((512, 4096, 64 * 1024, MIB, 4 * MIB))
stripes = st.sampled_from((1, 512 * 1024, 3 * 512 * 1024, 7 * 64 * 1024, 192 * MIB))
counts = st.integers(min_value=1, max_value=20)
chances = st.integers(0, 2**32).map(Random)


@given(size=sizes, transfer=transfers, count=counts, chance=chances, stripe=stripes)
def test_places_lie_in_order_inside_the_device_and_never_overlap(
    *, size: int, transfer: int, count: int, chance: Random, stripe: int
) -> None:
    end = 0
    for extent in spread_extents(size, transfer, count, chance, stripe):
        assert extent.start_bytes >= end
        assert extent.length_bytes > 0
        end = extent.start_bytes + extent.length_bytes
    assert end <= size


@given(size=sizes, transfer=transfers, count=counts, chance=chances, stripe=stripes)
def test_every_place_is_aligned_and_whole(
    *, size: int, transfer: int, count: int, chance: Random, stripe: int
) -> None:
    for extent in spread_extents(size, transfer, count, chance, stripe):
        assert extent.start_bytes % transfer == 0
        assert extent.start_bytes % stripe == 0
        assert extent.length_bytes % transfer == 0


@given(size=sizes, transfer=transfers, count=counts, chance=chances)
def test_something_is_read_wherever_a_transfer_fits(
    size: int, transfer: int, count: int, chance: Random
) -> None:
    assert bool(spread_extents(size, transfer, count, chance)) == (size >= transfer)


@given(size=sizes, transfer=transfers, count=counts, chance=chances, stripe=stripes)
def test_several_places_are_used_only_where_each_is_long_enough_to_time(
    *, size: int, transfer: int, count: int, chance: Random, stripe: int
) -> None:
    extents = spread_extents(size, transfer, count, chance, stripe)
    assert len(extents) <= count
    if len(extents) > 1:
        shortest = min(extent.length_bytes for extent in extents)
        assert shortest >= LEAST_TRANSFERS * transfer


@given(count=counts, chance=chances)
def test_each_of_the_equal_strata_holds_one_place(count: int, chance: Random) -> None:
    size = count * 1000 * MIB
    starts = [extent.start_bytes for extent in spread_extents(size, MIB, count, chance)]
    assert [start // (1000 * MIB) for start in starts] == list(range(count))


def test_places_differ_each_time_and_meet_the_whole_device() -> None:
    """A cache cannot learn them. They fill seven eighths of a stratum, so their middle is at
    seven sixteenths of it: a disk's slope is met nearly whole."""
    chance, size = Random(1), 6000 * 100 * MIB
    starts = [
        extent.start_bytes for _ in range(400) for extent in spread_extents(size, MIB, 6, chance)
    ]
    assert len(set(starts)) > 2300
    assert min(starts) < size * 0.005
    assert max(starts) > size * 0.97
    assert fmean(starts) / size == pytest.approx(0.5 - 1 / 96, abs=0.02)


def test_the_same_chance_gives_the_same_places() -> None:
    first, again = (spread_extents(10**12, MIB, 6, Random(5)) for _ in range(2))
    assert first == again


def test_a_small_device_is_one_place_and_its_ragged_end_is_left_out() -> None:
    whole = Extent(start_bytes=0, length_bytes=10 * MIB)
    assert spread_extents(10 * MIB + 512, MIB, 6, Random(1)) == (whole,)


def test_a_device_smaller_than_one_transfer_has_no_place() -> None:
    assert spread_extents(MIB - 1, MIB, 6, Random(1)) == ()


def test_no_places_at_all_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="at least one place"):
        spread_extents(1000 * MIB, MIB, 0, Random(1))
