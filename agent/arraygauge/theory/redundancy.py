"""What an array can still lose: complete data, failures survived for certain and at best.

The arithmetic of levels alone: a second copy of a file elsewhere is what protects
against everything an array cannot (deletion, fire, theft, a fault in the writing program).
"""

from __future__ import annotations

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import PARITY_LEVELS, Geometry, placements
from arraygauge.values import frozen

_COPY_LEVELS = (Level.RAID1, Level.RAID10)


@frozen
class Survivable:
    """Further member failures: ``guaranteed`` whichever they are, ``at_best`` if lucky.

    Both 0 when nothing more may fail; data already incomplete is a separate question.
    """

    guaranteed: int
    at_best: int


def data_is_complete(geometry: Geometry) -> bool:
    """Whether every byte of user data can still be read or computed."""
    if geometry.level in _COPY_LEVELS:
        chunks = placements(geometry.level, geometry.slots, geometry.layout)
        return all(not geometry.missing.issuperset(chunk) for chunk in chunks)
    return len(geometry.missing) <= PARITY_LEVELS.get(geometry.level, 0)


def survivable(geometry: Geometry) -> Survivable:
    """Failures the array survives from its present state."""
    if not data_is_complete(geometry):
        return Survivable(guaranteed=0, at_best=0)
    if geometry.level not in _COPY_LEVELS:
        left = PARITY_LEVELS.get(geometry.level, 0) - len(geometry.missing)
        return Survivable(guaranteed=left, at_best=left)
    return _survivable_copies(geometry)


def _survivable_copies(geometry: Geometry) -> Survivable:
    """Certain: one fewer than the fewest copies any chunk still has. At best: as many
    members as can go while each chunk keeps one."""
    chunks = {
        frozenset(chunk) - geometry.missing
        for chunk in placements(geometry.level, geometry.slots, geometry.layout)
    }
    fewest_copies = min(len(chunk) for chunk in chunks)
    return Survivable(
        guaranteed=fewest_copies - 1, at_best=len(geometry.serving) - _fewest_keepers(chunks)
    )


def _fewest_keepers(chunks: set[frozenset[int]]) -> int:
    """The smallest number of members that hold a copy of every chunk.

    The copies of a chunk lie on neighbours in the ring of serving slots. Some keeper
    must lie in the first chunk's copies: for each choice the ring is cut there, and
    on the line that remains the rule 'keep the last slot of the chunk that ends
    first' is exact.
    """
    ring = sorted(frozenset[int]().union(*chunks))
    first = min(chunks, key=sorted)
    return min(_keepers_from(keeper, ring, chunks) for keeper in first)


def _keepers_from(keeper: int, ring: list[int], chunks: set[frozenset[int]]) -> int:
    start = ring.index(keeper)
    place = {slot: index for index, slot in enumerate(ring[start:] + ring[:start])}
    ends = sorted(
        (max(place[slot] for slot in chunk), min(place[slot] for slot in chunk))
        for chunk in chunks
        if keeper not in chunk
    )
    count, kept = 1, 0
    for last, first in ends:
        if first > kept:
            count, kept = count + 1, last
    return count
