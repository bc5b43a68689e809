"""How transfers are cut up: which members hold the bytes of a range, by the real layout.

Needed where few chunks are in flight, because then it matters *which* members they meet.
One period of the layout is gone through, and the answers are kept. Most layouts come round
sooner: after a *turn* they are the same again on other slots, which is as good where it does
not matter which slot it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import gcd
from typing import NamedTuple

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import (
    Geometry,
    Row,
    outermost_copies,
    placements,
    rows,
)

MOST_CHUNKS = 4096
"""Beyond so many chunks in a period of windows, shares are even enough to be taken as such."""


class Part(NamedTuple):
    """What one slot moves of a window: bytes, and how often it goes over a parity chunk to
    begin its next data chunk."""

    size: float
    jumps: int


Parts = tuple[Part, ...]
"""One for each slot."""


@lru_cache(maxsize=512)
def windows(
    geometry: Geometry, window_bytes: int, *, writing: bool, alike: bool = False
) -> tuple[Parts, ...] | None:
    """A stream cut into windows of so many bytes, one period of them, or one turn where the
    slots are ``alike``; None where the chunks are too many to be worth counting, or the level
    is not cut into chunks."""
    chunk = geometry.chunk_bytes
    starts = _starts(geometry, window_bytes, alike=alike)
    if not chunk or starts is None:
        return None
    table = _table(replace(geometry, chunk_bytes=None), writing)
    return tuple(
        tuple(
            Part(size, over)
            for size, over in zip(
                _moved(geometry, table, start, window_bytes, writing),
                table.jumps_between(-(-start // chunk), -(-(start + window_bytes) // chunk)),
                strict=True,
            )
        )
        for start in starts
    )


@lru_cache(maxsize=512)
def mean_largest_part(geometry: Geometry, read_bytes: int) -> float | None:
    """Bytes on the slot that has most of one read, the mean over where it may begin; None as
    for ``windows``."""
    starts = _starts(geometry, read_bytes, alike=True)
    if starts is None:
        return None
    table = _table(replace(geometry, chunk_bytes=None), False)
    most = [max(_moved(geometry, table, start, read_bytes, False)) for start in starts]
    return sum(most) / len(most)


def _starts(geometry: Geometry, length: int, *, alike: bool) -> list[int] | None:
    """Where the windows of one period, or of one turn, begin."""
    chunk = geometry.chunk_bytes
    if not chunk or geometry.level in (Level.LINEAR, Level.RAID1) or not length:
        return None
    turn = turn_chunks(geometry.level, geometry.slots, geometry.layout)
    short = alike and not geometry.missing
    period = chunk * (turn if short else _period_chunks(geometry))
    count = period // gcd(length, period)
    if count * (length / chunk + 1) > MOST_CHUNKS:
        return None
    return [index * length % period for index in range(count)]


def row_turn(level: Level, slots: int, layout: int | None) -> int:
    """By how many slots a parity layout goes on from one row to the next."""
    pattern = rows(level, slots, layout)
    return (pattern[1 % len(pattern)].parity[0] - pattern[0].parity[0]) % slots


@lru_cache(maxsize=256)
def turn_chunks(level: Level, slots: int, layout: int | None) -> int:
    """After how many data chunks the layout is the same again, on the same or on other slots
    that all go on by one number."""
    if level in (Level.RAID0, Level.RAID10):
        return 1
    pattern = rows(level, slots, layout)
    width = len(pattern[0].data)
    by = row_turn(level, slots, layout)
    return width if _goes_round(pattern, slots, by) else width * len(pattern)


def _goes_round(pattern: Sequence[Row], slots: int, by: int) -> bool:
    """Whether each row is the one before, all slots further on by that number."""

    def turned(row: Row) -> Row:
        return Row(
            tuple((slot + by) % slots for slot in row.data),
            tuple((slot + by) % slots for slot in row.parity),
        )

    following = (*pattern[1:], pattern[0])
    return all(turned(row) == after for row, after in zip(pattern, following, strict=True))


def _period_chunks(geometry: Geometry) -> int:
    if geometry.level is Level.RAID0:
        return geometry.slots
    if geometry.level is Level.RAID10:
        return len(placements(geometry.level, geometry.slots, geometry.layout))
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    return len(pattern) * len(pattern[0].data)


@dataclass(frozen=True, slots=True)
class _Table:
    """One period by the chunk: the slots that move each (when reading copies without heads, one
    of them); and for each number of chunks from its start, how many of those each slot moves,
    and how many it comes to over parity."""

    holders: tuple[tuple[int, ...], ...]
    one_of_them: bool
    moved: tuple[tuple[int, ...], ...]
    jumps: tuple[tuple[int, ...], ...]

    def chunks_between(self, first: int, end: int) -> list[int]:
        return _between(self.moved, first, end)

    def jumps_between(self, first: int, end: int) -> list[int]:
        return _between(self.jumps, first, end)


def _between(counts: tuple[tuple[int, ...], ...], first: int, end: int) -> list[int]:
    """What the chunks from ``first`` to before ``end`` count up to, by slot."""
    period = len(counts) - 1
    low, high = counts[first % period], counts[end % period]
    times = end // period - first // period
    if not times:
        return [after - before for after, before in zip(high, low, strict=True)]
    whole = counts[period]
    return [
        times * each + after - before for each, after, before in zip(whole, high, low, strict=True)
    ]


@lru_cache(maxsize=256)
def _table(geometry: Geometry, writing: bool) -> _Table:
    """``geometry`` without its chunk size, on which nothing here depends."""
    holders = tuple(_holders(geometry, writing))
    heads = geometry.seeks is not False
    moved, jumps = [[0] * geometry.slots], [[0] * geometry.slots]
    for slots, over in zip(holders, _parity_before(geometry), strict=True):
        moved.append(moved[-1].copy())
        jumps.append(jumps[-1].copy())
        for slot in slots:
            moved[-1][slot] += 1
            jumps[-1][slot] += slot in over
    return _Table(
        holders=holders,
        one_of_them=geometry.level is Level.RAID10 and not writing and not heads,
        moved=tuple(map(tuple, moved)),
        jumps=tuple(map(tuple, jumps)),
    )


def _parity_before(geometry: Geometry) -> list[tuple[int, ...]]:
    """For each data chunk of a period, the parity of the row before its own."""
    if not geometry.parity:
        return [()] * _period_chunks(geometry)
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    before = (pattern[-1], *pattern[:-1])
    return [row.parity for row in before for _ in row.data]


def _holders(geometry: Geometry, writing: bool) -> Iterator[tuple[int, ...]]:
    """For each data chunk of a period, the slots that may move it: all copies when writing; when
    reading all of them, one of which will, or, where there are heads, those that they all pass
    over, or the one that lies first."""
    missing = geometry.missing
    if geometry.level is Level.RAID0:
        yield from ((slot,) for slot in range(geometry.slots))
    elif geometry.level is Level.RAID10:
        outermost = not writing and outermost_copies(geometry)
        for chunk in placements(geometry.level, geometry.slots, geometry.layout):
            copies = tuple(slot for slot in chunk if slot not in missing)
            yield copies[:1] if outermost else copies
    else:
        for row in rows(geometry.level, geometry.slots, geometry.layout):
            yield from (() if slot in missing else (slot,) for slot in row.data)


def _moved(
    geometry: Geometry, table: _Table, start: int, length: int, writing: bool
) -> Sequence[float]:
    """Bytes that each slot moves of a range of the array."""
    chunk = geometry.chunk_bytes or length
    if table.one_of_them:
        return _by_the_idlest(table, start, length, chunk, geometry.slots)
    first, last = start // chunk, (start + length - 1) // chunk
    moved = [count * chunk for count in table.chunks_between(first, last + 1)]
    period = len(table.holders)
    for index, beyond in (
        (first, start - first * chunk),
        (last, (last + 1) * chunk - start - length),
    ):
        for slot in table.holders[index % period]:
            moved[slot] -= beyond
    if writing and geometry.parity:
        _add_parity(geometry, first, last, moved, chunk)
    return moved


def _by_the_idlest(
    table: _Table, start: int, length: int, chunk: int, slots: int
) -> Sequence[float]:
    moved = [0] * slots
    period = len(table.holders)
    for index in range(start // chunk, (start + length - 1) // chunk + 1):
        size = min(start + length, (index + 1) * chunk) - max(start, index * chunk)
        moved[min(table.holders[index % period], key=moved.__getitem__)] += size
    return moved


def _add_parity(geometry: Geometry, first: int, last: int, moved: list[int], chunk: int) -> None:
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    width = len(pattern[0].data)
    for row in range(first // width, last // width + 1):
        for slot in pattern[row % len(pattern)].parity:
            if slot not in geometry.missing:
                moved[slot] += chunk
