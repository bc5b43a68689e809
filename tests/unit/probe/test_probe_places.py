"""Where on a device is read."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.places import LEAST_TRANSFERS, spread_extents
from arraygauge.probe.values import Extent

MIB = 1 << 20

sizes = st.integers(min_value=0, max_value=1 << 56)
transfers = st.sampled_from((512, 4096, 64 * 1024, MIB, 4 * MIB))
stripes = st.sampled_from((1, 512 * 1024, 3 * 512 * 1024, 7 * 64 * 1024))
counts = st.integers(min_value=1, max_value=20)


@given(size=sizes, transfer=transfers, count=counts, stripe=stripes)
def test_places_lie_in_order_inside_the_device_and_never_overlap(
    size: int, transfer: int, count: int, stripe: int
) -> None:
    end = 0
    for extent in spread_extents(size, transfer, count, stripe):
        assert extent.start_bytes >= end
        assert extent.length_bytes > 0
        end = extent.start_bytes + extent.length_bytes
    assert end <= size


@given(size=sizes, transfer=transfers, count=counts, stripe=stripes)
def test_every_place_is_aligned_and_whole(
    size: int, transfer: int, count: int, stripe: int
) -> None:
    for extent in spread_extents(size, transfer, count, stripe):
        assert extent.start_bytes % transfer == 0
        assert extent.start_bytes % stripe == 0
        assert extent.length_bytes % transfer == 0


@given(size=sizes, transfer=transfers, count=counts)
def test_something_is_read_wherever_a_transfer_fits(size: int, transfer: int, count: int) -> None:
    assert bool(spread_extents(size, transfer, count)) == (size >= transfer)


@given(size=sizes, transfer=transfers, count=counts, stripe=stripes)
def test_several_places_are_used_only_where_each_is_long_enough_to_time(
    size: int, transfer: int, count: int, stripe: int
) -> None:
    extents = spread_extents(size, transfer, count, stripe)
    assert len(extents) in (0, 1, count)
    if len(extents) > 1:
        shortest = min(extent.length_bytes for extent in extents)
        assert shortest >= LEAST_TRANSFERS * transfer


def test_three_places_lie_at_a_tenth_the_middle_and_nine_tenths() -> None:
    starts = [extent.start_bytes for extent in spread_extents(1000 * MIB, MIB)]
    assert starts == [100 * MIB, 500 * MIB, 900 * MIB]


def test_one_place_lies_in_the_middle() -> None:
    assert spread_extents(1000 * MIB, MIB, 1)[0].start_bytes == 500 * MIB


def test_devices_of_different_sizes_are_read_at_the_same_fractions() -> None:
    """A terabyte apart, the places differ from the fractions by less than a transfer."""
    for size in (10**12, 2 * 10**12):
        for extent, fraction in zip(spread_extents(size, MIB), (0.1, 0.5, 0.9), strict=True):
            assert 0 <= fraction * size - extent.start_bytes <= MIB


def test_a_small_device_is_one_place_and_its_ragged_end_is_left_out() -> None:
    whole = Extent(start_bytes=0, length_bytes=10 * MIB)
    assert spread_extents(10 * MIB + 512, MIB) == (whole,)


def test_a_device_smaller_than_one_transfer_has_no_place() -> None:
    assert spread_extents(MIB - 1, MIB) == ()


def test_no_places_at_all_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="at least one place"):
        spread_extents(1000 * MIB, MIB, 0)
