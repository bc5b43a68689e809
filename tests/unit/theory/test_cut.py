"""How transfers are cut up: after a turn, a layout is the same again on other slots."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory.cut import mean_largest_part, turn_chunks, windows
from arraygauge.theory.geometry import Geometry
from arraygauge.units import KIB

SHAPES = st.sampled_from(
    [
        (Level.RAID0, None),
        (Level.RAID10, 258),
        (Level.RAID10, 0x201),
        (Level.RAID10, 0x10201),
        (Level.RAID10, 259),
        *((Level.RAID5, layout) for layout in range(6)),
        *((Level.RAID6, layout) for layout in (0, 1, 2, 3, 4, 5, 8, 9, 10, 16, 18)),
        (Level.RAID4, None),
    ]
)


@settings(max_examples=300, deadline=None)
@given(
    shape=SHAPES,
    slots=st.integers(4, 9),
    chunk=st.sampled_from([16 * KIB, 64 * KIB]),
    size=st.integers(1, 64).map(lambda blocks: blocks * 4 * KIB),
    writing=st.booleans(),
    seeks=st.sampled_from([True, False, None]),
)
def test_a_turn_says_of_slots_that_are_alike_what_the_whole_period_says(  # noqa: PLR0917
    shape: tuple[Level, int | None],
    slots: int,
    chunk: int,
    size: int,
    writing: bool,
    seeks: bool | None,
) -> None:
    level, layout = shape
    geometry = Geometry(level=level, slots=slots, chunk_bytes=chunk, layout=layout, seeks=seeks)
    whole = windows(geometry, size, writing=writing)
    turn = windows(geometry, size, writing=writing, alike=True)
    if whole is None:
        return  # too many to be counted; a turn may still be
    assert turn is not None
    assert len(whole) % len(turn) == 0
    times = len(whole) // len(turn)

    def shares(cut: tuple[tuple[object, ...], ...]) -> list[list[str]]:
        return sorted(sorted(map(str, parts)) for parts in cut)

    assert shares(whole) == sorted(shares(turn) * times)


@settings(max_examples=200, deadline=None)
@given(shape=SHAPES, slots=st.integers(4, 9), size=st.integers(1, 64), writing=st.booleans())
def test_every_byte_read_is_on_a_slot_and_every_copy_of_those_written(
    shape: tuple[Level, int | None], slots: int, size: int, writing: bool
) -> None:
    level, layout = shape
    geometry = Geometry(level=level, slots=slots, chunk_bytes=16 * KIB, layout=layout)
    cut = windows(geometry, size * 4 * KIB, writing=writing)
    if cut is None or (geometry.parity and writing):
        return  # parity comes on top, for whole rows
    copies = 3 if layout == 259 else 2
    copies = copies if level is Level.RAID10 and writing else 1
    for parts in cut:
        assert sum(part.size for part in parts) == copies * size * 4 * KIB


@pytest.mark.parametrize(
    ("level", "layout", "turn"),
    [
        (Level.RAID0, None, 1),
        (Level.RAID5, 2, 4),  # left-symmetric: each row goes on one slot
        (Level.RAID5, 0, 20),  # left-asymmetric begins every row at the first slot
        (Level.RAID6, 2, 3),
    ],
)
def test_after_how_many_chunks_five_slots_come_round(
    level: Level, layout: int | None, turn: int
) -> None:
    assert turn_chunks(level, 5, layout) == turn


def test_a_read_within_a_chunk_is_on_one_slot_however_wide_the_array() -> None:
    geometry = Geometry(level=Level.RAID5, slots=14, chunk_bytes=512 * KIB, layout=2)
    assert mean_largest_part(geometry, 16 * KIB) == 16 * KIB
