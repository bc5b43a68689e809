"""What an array holds: bytes it offers, and bytes it takes of each member.

Sizes are those of the members' data areas (md/dev-X/size): what metadata, bitmap
space and a data offset take from a drive has already been taken.

Source: kernel 6.1, read. md.rst, component_size: levels with redundancy use as much
of every member as all can offer. Chunks round it: drivers/md/raid5.c raid5_run and
raid5_size, raid10.c calc_sectors and raid10_size; raid0.c and md-linear.c use every
member and round each; raid1.c raid1_size does not round.
"""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import PARITY_LEVELS, Copies, Geometry
from arraygauge.units import SECTOR_BYTES
from arraygauge.values import frozen


@frozen
class Capacity:
    """``used_bytes`` is what the level takes of each slot; the rest of a member lies idle."""

    usable_bytes: int
    used_bytes: tuple[int, ...]
    member_bytes: tuple[int, ...]

    @property
    def efficiency(self) -> float:
        """User bytes for each byte of drive bought, 0 to 1."""
        return self.usable_bytes / sum(self.member_bytes)

    @property
    def idle_bytes(self) -> int:
        """Bytes of the members that the array cannot use."""
        return sum(self.member_bytes) - sum(self.used_bytes)

    @property
    def component_bytes(self) -> int:
        """What every member contributes; of unequal raid0 or linear members, the least."""
        return min(self.used_bytes)


def capacity(geometry: Geometry, member_bytes: Sequence[int]) -> Capacity:
    """The capacity for one data area a slot, missing slots included (the size they had).

    Raises ValueError when the sizes are not one a slot or the level is not known.
    """
    if len(member_bytes) != geometry.slots or geometry.level is Level.UNKNOWN:
        raise ValueError(f"{geometry.level} of {geometry.slots}: {len(member_bytes)} sizes")
    chunk = geometry.chunk_bytes or SECTOR_BYTES
    if geometry.level in (Level.RAID0, Level.LINEAR):
        used = tuple(_whole(size, chunk) for size in member_bytes)
        return Capacity(usable_bytes=sum(used), used_bytes=used, member_bytes=tuple(member_bytes))
    smallest = min(member_bytes)
    if geometry.level is Level.RAID10:
        usable, component = _raid10(geometry, smallest, chunk)
    elif geometry.level is Level.RAID1:
        usable = component = smallest
    else:
        component = _whole(smallest, chunk)
        usable = component * (geometry.slots - PARITY_LEVELS[geometry.level])
    return Capacity(
        usable_bytes=usable,
        used_bytes=(component,) * geometry.slots,
        member_bytes=tuple(member_bytes),
    )


def _whole(size: int, chunk: int) -> int:
    return size // chunk * chunk


def _raid10(geometry: Geometry, size: int, chunk: int) -> tuple[int, int]:
    """(usable, used of each member) bytes.

    The far copies divide each member into whole chunks; near copies fill the rows
    across all members, and the last row may be short where the counts do not divide.
    """
    copies = Copies.from_layout(geometry.layout)
    part = size // chunk // copies.far
    return part * geometry.slots // copies.near * chunk, part * copies.far * chunk
