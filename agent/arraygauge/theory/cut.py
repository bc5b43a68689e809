"""How transfers are cut up: which members hold the bytes of a range, by the real layout.

Needed where few chunks are in flight, because then it matters *which* members they meet.
One period of the layout is gone through, and the answers are kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import gcd

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, outermost_copies, placements, rows

MOST_CHUNKS = 4096
"""Beyond so many chunks in a period of windows, shares are even enough to be taken as such."""


@dataclass(frozen=True, slots=True)
class Part:
    """What one slot moves of a window: bytes, and how often it goes over a parity chunk to
    begin its next data chunk."""

    size: float
    jumps: int


Parts = tuple[Part, ...]
"""One for each slot."""


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


@lru_cache(maxsize=512)
def mean_largest_part(geometry: Geometry, read_bytes: int) -> float | None:
    """Bytes on the slot that has most of one read, the mean over where it may begin; None as
    for ``windows``."""
    cut = windows(geometry, read_bytes, writing=False)
    if cut is None:
        return None
    return sum(max(part.size for part in parts) for parts in cut) / len(cut)


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
    jumps = [0] * geometry.slots
    first, last = start // chunk, (start + length - 1) // chunk
    for index in range(first, last + 1):
        begin, end = max(start, index * chunk), min(start + length, (index + 1) * chunk)
        for slot in _holders(geometry, index, moved, writing):
            moved[slot] += end - begin
            jumps[slot] += begin == index * chunk and _follows_parity(geometry, index, slot)
    if writing and geometry.parity:
        _add_parity(geometry, first, last, moved, chunk)
    return tuple(Part(size, over) for size, over in zip(moved, jumps, strict=True))


def _follows_parity(geometry: Geometry, index: int, slot: int) -> bool:
    if not geometry.parity:
        return False
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    row = index // len(pattern[0].data)
    return slot in pattern[(row - 1) % len(pattern)].parity


def _holders(geometry: Geometry, index: int, moved: list[float], writing: bool) -> tuple[int, ...]:
    """The slots that move a data chunk: all copies when writing; when reading the idlest, or,
    where there are heads, the copies that they all pass over, or the one that lies first."""
    if geometry.level is Level.RAID0:
        return (index % geometry.slots,)
    if geometry.level is Level.RAID10:
        chunks = placements(geometry.level, geometry.slots, geometry.layout)
        copies = [s for s in chunks[index % len(chunks)] if s not in geometry.missing]
        if not writing and outermost_copies(geometry):
            return tuple(copies[:1])
        if writing or geometry.seeks is not False:
            return tuple(copies)
        return (min(copies, key=lambda slot: moved[slot]),)
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
