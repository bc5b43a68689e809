"""What each member of an array moves for a byte of user data, at most. Pure.

The model's loads (``theory.level_loads``) are the best knowledge of what happens. A budget
needs an upper bound: where the kernel's choice cannot be seen from outside, every member is
charged all that it can have served.
"""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, placements, raid0_zones, rows
from arraygauge.theory.values import Direction, Workload
from arraygauge.values import frozen

_COPY_LEVELS = (Level.RAID1, Level.RAID10)


@frozen
class Share:
    """Bytes read and written for each byte of user data."""

    read: float = 0.0
    written: float = 0.0

    @property
    def moved(self) -> float:
        return self.read + self.written

    def __add__(self, other: Share) -> Share:
        return Share(read=self.read + other.read, written=self.written + other.written)


def slot_shares(geometry: Geometry, workload: Workload) -> tuple[Share, ...]:
    """One share a slot. Writes are charged to missing slots too: what fills such a slot
    again is written like the rest."""
    if workload.direction is Direction.READ:
        return tuple(Share(read=share) for share in _read(geometry))
    written = _written(geometry, workload)
    around = _read_around_writes(geometry, workload)
    return tuple(
        Share(read=0.0 if slot in geometry.missing else around, written=share)
        for slot, share in enumerate(written)
    )


def _read(geometry: Geometry) -> list[float]:
    """Copies: all that a member holds of it. Parity: a lost block is read from every other
    member of its row, once for each block at worst; degraded rows may be read whole."""
    if geometry.parity:
        roles = _in_role(geometry, data=True)
        lost = sum(roles[slot] for slot in geometry.missing)
        least = 1.0 if geometry.missing else 0.0
        shares = [max(least, role + lost) / _width(geometry) for role in roles]
    else:
        shares = _held(geometry)
    idle = set(geometry.missing)
    if geometry.level is Level.RAID1 and set(geometry.serving) - geometry.write_mostly:
        idle |= geometry.write_mostly
    return [0.0 if slot in idle else share for slot, share in enumerate(shares)]


def _held(geometry: Geometry) -> list[float]:
    """Levels without parity: the most of a byte's copies that lies on each slot. One place of
    a linear array is on one member; of a raid0, on the members of one zone."""
    slots = range(geometry.slots)
    if geometry.level in _COPY_LEVELS:
        chunks = placements(geometry.level, geometry.slots, geometry.layout)
        return [sum(chunk.count(slot) for chunk in chunks) / len(chunks) for slot in slots]
    if geometry.level is Level.LINEAR:
        return [1.0] * geometry.slots
    zones = raid0_zones(geometry.member_bytes) or (tuple(slots),)
    return [max(1 / len(zone) for zone in zones if slot in zone) for slot in slots]


def _written(geometry: Geometry, workload: Workload) -> list[float]:
    """Rows written whole put a byte on every member for each byte of a data member. Where a
    row is written in part its parity is written as well: for a transfer wherever it begins
    at most one chunk of parity more than its whole rows need, and never more than its own
    size. Assumed: the blocks of one transfer meet in the stripe cache; what md writes of
    bitmaps and superblocks is not counted."""
    if not geometry.parity:
        return _held(geometry)
    width = _width(geometry)
    parity = min(1.0, 1 / width + _chunk(geometry, workload) / workload.transfer_bytes)
    pairs = zip(_in_role(geometry, data=True), _in_role(geometry, data=False), strict=True)
    return [data / width + parity * checks for data, checks in pairs]


def _read_around_writes(geometry: Geometry, workload: Workload) -> float:
    """A transfer has at most two rows in part, at its ends, and of those md reads each
    member's chunk at most once, to compute the parity. Degraded it may read for every block."""
    if not geometry.parity:
        return 0.0
    if geometry.missing:
        return 1.0
    return min(1.0, 2 * _chunk(geometry, workload) / workload.transfer_bytes)


def _chunk(geometry: Geometry, workload: Workload) -> int:
    return geometry.chunk_bytes or workload.transfer_bytes


def _width(geometry: Geometry) -> int:
    return geometry.slots - geometry.parity


def _in_role(geometry: Geometry, *, data: bool) -> Sequence[float]:
    """The share of rows in which each slot holds data, or parity."""
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    roles = [row.data if data else row.parity for row in pattern]
    return [sum(slot in role for role in roles) / len(roles) for slot in range(geometry.slots)]
