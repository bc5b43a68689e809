"""How transfers are cut up: which members hold the bytes of a range, by the real layout.

Needed where few chunks are in flight, because then it matters *which* members they meet.
One period of the layout is gone through, and the answers are kept.
"""

from __future__ import annotations

from functools import lru_cache
from math import gcd

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, placements, rows

MOST_CHUNKS = 4096
"""Beyond so many chunks in a period of windows, shares are even enough to be taken as such."""

Parts = tuple[float, ...]
"""Bytes for each slot."""


@lru_cache(maxsize=512)
def windows(geometry: Geometry, window_bytes: int, *, writing: bool) -> tuple[Parts, ...] | None:
    """A stream cut into windows of so many bytes, one period of them; None where the chunks
    are too many to be worth counting, or the level is not cut into chunks."""
    chunk = geometry.chunk_bytes
    if not chunk or geometry.level in (Level.LINEAR, Level.RAID1) or not window_bytes:
        return None
    period = chunk * _period_chunks(geometry)
    count = period // gcd(window_bytes, period)
    if count * (window_bytes / chunk + 1) > MOST_CHUNKS:
        return None
    return tuple(
        _parts(geometry, index * window_bytes % period, window_bytes, writing)
        for index in range(count)
    )


def _period_chunks(geometry: Geometry) -> int:
    if geometry.level is Level.RAID0:
        return geometry.slots
    if geometry.level is Level.RAID10:
        return len(placements(geometry.level, geometry.slots, geometry.layout))
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    return len(pattern) * len(pattern[0].data)


def _parts(geometry: Geometry, start: int, length: int, writing: bool) -> Parts:
    chunk = geometry.chunk_bytes or length
    moved = [0.0] * geometry.slots
    first, last = start // chunk, (start + length - 1) // chunk
    for index in range(first, last + 1):
        begin, end = max(start, index * chunk), min(start + length, (index + 1) * chunk)
        for slot in _holders(geometry, index, moved, writing):
            moved[slot] += end - begin
    if writing and geometry.parity:
        _add_parity(geometry, first, last, moved, chunk)
    return tuple(moved)


def _holders(geometry: Geometry, index: int, moved: list[float], writing: bool) -> tuple[int, ...]:
    """The slots that move a data chunk: all copies when writing, the idlest when reading."""
    if geometry.level is Level.RAID0:
        return (index % geometry.slots,)
    if geometry.level is Level.RAID10:
        chunks = placements(geometry.level, geometry.slots, geometry.layout)
        copies = [s for s in chunks[index % len(chunks)] if s not in geometry.missing]
        return tuple(copies) if writing else (min(copies, key=lambda slot: moved[slot]),)
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    row, place = divmod(index, len(pattern[0].data))
    slot = pattern[row % len(pattern)].data[place]
    return () if slot in geometry.missing else (slot,)


def _add_parity(geometry: Geometry, first: int, last: int, moved: list[float], chunk: int) -> None:
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    width = len(pattern[0].data)
    for row in range(first // width, last // width + 1):
        for slot in pattern[row % len(pattern)].parity:
            if slot not in geometry.missing:
                moved[slot] += chunk
