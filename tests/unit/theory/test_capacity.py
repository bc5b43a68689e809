"""What arrays hold, against the published storage column and the kernel's own arithmetic."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory.capacity import capacity
from arraygauge.theory.geometry import Geometry
from arraygauge.units import KIB, MIB

NEAR2, NEAR3, FAR2, FAR3, OFFSET2, NEAR2_FAR2 = 258, 259, 513, 769, 66049, 514
CHUNK = 64 * KIB


def shape(level: Level, slots: int, layout: int | None = None) -> Geometry:
    chunk = None if level is Level.RAID1 else CHUNK
    return Geometry(level=level, slots=slots, layout=layout, chunk_bytes=chunk)


@pytest.mark.parametrize("group", [2, 4, 8, 16])
def test_storage_column_of_chen_1994_table_3(group: int) -> None:
    """Storage efficiency relative to level 0: 1, 1/2, (G - 1)/G and (G - 2)/G."""
    sizes = (1000 * MIB,) * group
    assert capacity(shape(Level.RAID0, group), sizes).efficiency == 1
    assert capacity(shape(Level.RAID10, group), sizes).efficiency == 1 / 2
    assert capacity(shape(Level.RAID5, group), sizes).efficiency == (group - 1) / group
    if group > 2:
        assert capacity(shape(Level.RAID6, group), sizes).efficiency == (group - 2) / group


def test_stripes_use_every_byte_of_unequal_members() -> None:
    """raid0 makes zones, linear goes on: nothing is idle (kernel raid0.c raid0_size)."""
    sizes = (100 * MIB, 300 * MIB, 200 * MIB)
    for level in (Level.RAID0, Level.LINEAR):
        found = capacity(shape(level, 3), sizes)
        assert found.usable_bytes == 600 * MIB
        assert found.idle_bytes == 0


def test_levels_with_redundancy_use_as_much_of_each_as_all_can_offer() -> None:
    """md.rst component_size: 'there must be a size that they all provide space for'."""
    sizes = (100 * MIB, 300 * MIB, 200 * MIB)
    assert capacity(shape(Level.RAID5, 3), sizes).usable_bytes == 200 * MIB
    assert capacity(shape(Level.RAID1, 3), sizes).usable_bytes == 100 * MIB
    assert capacity(shape(Level.RAID5, 3), sizes).idle_bytes == 300 * MIB


def test_levels_with_chunks_round_members_down_and_mirrors_do_not() -> None:
    """raid5.c raid5_run: 'device size must be a multiple of chunk size'; raid1_size has none."""
    size = 10 * CHUNK + 4 * KIB
    assert capacity(shape(Level.RAID5, 3), (size,) * 3).component_bytes == 10 * CHUNK
    assert capacity(shape(Level.RAID0, 3), (size,) * 3).usable_bytes == 30 * CHUNK
    assert capacity(shape(Level.RAID1, 2), (size,) * 2).usable_bytes == size


@pytest.mark.parametrize(
    ("layout", "slots", "chunks_each", "usable_chunks", "used_chunks"),
    [
        (NEAR2, 3, 11, 16, 11),  # 33 places, 16 pairs: the last row is short by one
        (NEAR2, 3, 10, 15, 10),
        (NEAR2, 5, 7, 17, 7),
        (NEAR3, 4, 5, 6, 5),  # 20 places, 6 triples fill 18
        (NEAR3, 5, 5, 8, 5),
        (FAR2, 3, 11, 15, 10),  # each half holds whole rows: an odd chunk stays idle
        (OFFSET2, 3, 11, 15, 10),
        (FAR3, 4, 11, 12, 9),
        (NEAR2_FAR2, 5, 9, 10, 8),
    ],
)
def test_raid10_with_odd_counts_and_sizes(
    layout: int, slots: int, chunks_each: int, usable_chunks: int, used_chunks: int
) -> None:
    """Worked by hand from raid10.c calc_sectors and raid10_size (kernel 6.1)."""
    found = capacity(shape(Level.RAID10, slots, layout), (chunks_each * CHUNK,) * slots)
    assert found.usable_bytes == usable_chunks * CHUNK
    assert found.component_bytes == used_chunks * CHUNK


def kernel_raid10(size: int, slots: int, near: int, far: int) -> tuple[int, int]:
    """(usable, used of each) chunks, step by step as calc_sectors and then raid10_size do."""
    chunks = size // far * slots // near
    device = -(-chunks * near * far // slots)
    return device // far * slots // near, device


@given(
    slots=st.integers(2, 12),
    near=st.integers(1, 3),
    far=st.integers(1, 3),
    size=st.integers(1, 500),
)
def test_raid10_rounds_as_the_kernel_does(slots: int, near: int, far: int, size: int) -> None:
    """raid10.c calc_sectors and raid10_size (kernel 6.1, read): device sectors are rounded
    up again after the division, which for no more copies than members changes nothing."""
    if near * far > slots:
        return
    geometry = shape(Level.RAID10, slots, near | far << 8)
    found = capacity(geometry, (size * CHUNK,) * slots)
    expected = tuple(count * CHUNK for count in kernel_raid10(size, slots, near, far))
    assert (found.usable_bytes, found.component_bytes) == expected


@given(slots=st.integers(2, 9), near=st.integers(2, 3), chunks=st.integers(1, 40))
def test_near_copies_fit_their_members_and_one_more_chunk_would_not(
    slots: int, near: int, chunks: int
) -> None:
    """Laying copies out one place after another, as md.rst describes near copies."""
    if near > slots:
        return
    found = capacity(shape(Level.RAID10, slots, 256 | near), (chunks * CHUNK,) * slots)
    count = found.usable_bytes // CHUNK
    rows_used = [-(-(number * near) // slots) for number in (count, count + 1)]
    assert rows_used[0] <= chunks < rows_used[1]


@given(
    level=st.sampled_from([level for level in Level if level is not Level.UNKNOWN]),
    sizes=st.lists(st.integers(1, 10**7).map(lambda kib: kib * KIB), min_size=4, max_size=8),
)
def test_no_level_offers_more_than_it_takes_nor_takes_more_than_there_is(
    level: Level, sizes: list[int]
) -> None:
    found = capacity(shape(level, len(sizes)), sizes)
    assert found.usable_bytes <= sum(found.used_bytes)
    assert all(used <= size for used, size in zip(found.used_bytes, sizes, strict=True))


def test_a_size_is_needed_for_every_slot() -> None:
    with pytest.raises(ValueError, match="2 sizes"):
        capacity(shape(Level.RAID5, 3), (1, 2))
