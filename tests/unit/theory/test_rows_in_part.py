"""Which member reads and writes what, where transfers fill no whole stripes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, Row
from arraygauge.theory.rows_in_part import mean_on_busiest, row_slots, windows_in_part
from arraygauge.theory.stripes import mean_write_cost
from arraygauge.units import KIB

CHUNK = 64 * KIB
FIVE = Row((0, 1, 2, 3, 4), (5,))
"""Five data members and their parity."""


def slots_of(row: Row, written: range, missing: set[int]) -> tuple[set[int], set[int]]:
    read, changed = row_slots(row, written, frozenset(missing))
    return set(read), set(changed)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        (range(5), set()),  # whole
        (range(1), {0, 5}),  # read-modify-write: 2 blocks rather than 4
        (range(2), {2, 3, 4}),  # a tie of 3: reconstruct
        (range(1, 5), {0}),  # reconstruct
    ],
)
def test_a_healthy_row_takes_the_way_that_reads_less(written: range, read: set[int]) -> None:
    """raid5.c handle_stripe_dirtying, from memory."""
    assert slots_of(FIVE, written, set()) == (read, {*written, 5})


def test_a_row_that_lost_a_block_takes_the_way_that_does_not_need_it() -> None:
    one = range(1)
    assert slots_of(FIVE, one, {0}) == ({1, 2, 3, 4}, {5})
    assert slots_of(FIVE, one, {5}) == ({1, 2, 3, 4}, {0})
    assert slots_of(FIVE, range(4), {4}) == ({0, 1, 2, 3, 5}, {0, 1, 2, 3, 5})


def test_a_row_that_lost_two_blocks_reads_all_that_is_left_if_one_is_to_change() -> None:
    row = Row((0, 1, 2, 3), (4, 5))
    assert slots_of(row, range(1), {0, 1}) == ({2, 3, 4, 5}, {4, 5})
    assert slots_of(row, range(1), {1, 2}) == ({0, 4, 5}, {0, 4, 5})


@given(
    slots=st.integers(4, 8),
    blocks=st.integers(1, 80),
    level=st.sampled_from([Level.RAID5, Level.RAID6]),
)
def test_the_busiest_member_moves_no_less_than_its_share_and_no_more_than_all(
    slots: int, blocks: int, level: Level
) -> None:
    """Two countings of the same rows: by member here, by role in stripes.py."""
    geometry = Geometry(level=level, slots=slots, chunk_bytes=CHUNK, layout=2)
    size = blocks * 16 * KIB
    cost = mean_write_cost(size, 0, CHUNK, slots - geometry.parity, geometry.parity)
    moved = cost.written + cost.parity_writes + cost.data_reads + cost.parity_reads
    total = moved / cost.written * size
    busiest = mean_on_busiest(geometry, size, 0)
    assert total / slots * (1 - 1e-9) <= busiest <= total


def test_a_window_that_begins_on_a_chunk_keeps_beginning_there() -> None:
    """Two transfers of half a chunk: on one chunk, or over the boundary of two."""
    geometry = Geometry(level=Level.RAID5, slots=3, chunk_bytes=CHUNK, layout=2)
    on_one, over_two = windows_in_part(geometry, CHUNK // 2, 0, 2)
    assert on_one.reads.most_bytes == CHUNK
    assert over_two.reads.most_bytes == CHUNK
    assert on_one.rounds == over_two.rounds == 4
