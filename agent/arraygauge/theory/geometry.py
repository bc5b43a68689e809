"""Where md puts data, parity and copies: the kernel's layouts as plain enumeration.

Everything the model says of a level follows from two lists: for parity levels,
the *rows* (which member holds data and which parity, one chunk each); for
mirrored levels, the *placements* (which members hold the copies of one chunk).
Both repeat after a period, so a period is enumerated and counted, never guessed.

Source: drivers/md/raid5.c raid5_compute_sector and drivers/md/raid10.c
__raid10_find_phys describe the layouts; Documentation/admin-guide/md.rst names them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from arraygauge.inventory.values import Level
from arraygauge.values import frozen

PARITY_LEVELS = {Level.RAID4: 1, Level.RAID5: 1, Level.RAID6: 2}
"""Parity chunks in each row."""

DEFAULT_LAYOUTS = {
    Level.RAID5: 2,  # left-symmetric
    Level.RAID6: 2,
    Level.RAID10: 258,  # near 2
}


@frozen
class Geometry:
    """The shape of an array, without its drives.

    ``member_bytes`` gives each slot's usable size where they differ (raid0 zones,
    linear); empty means equal. ``missing`` are the slots nothing serves.
    ``seeks`` says whether the members have heads to move; None when unknown.
    """

    level: Level
    slots: int
    chunk_bytes: int | None = None
    layout: int | None = None
    missing: frozenset[int] = frozenset()
    seeks: bool | None = False
    member_bytes: tuple[int, ...] = ()
    write_mostly: frozenset[int] = frozenset()

    @property
    def parity(self) -> int:
        """Parity chunks in each row; 0 for levels without parity."""
        return PARITY_LEVELS.get(self.level, 0)

    @property
    def serving(self) -> tuple[int, ...]:
        if not self.missing:
            return tuple(range(self.slots))
        return tuple(slot for slot in range(self.slots) if slot not in self.missing)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a parity level: the slots that hold data, in order, and parity (P, then Q)."""

    data: tuple[int, ...]
    parity: tuple[int, ...]


@lru_cache(maxsize=1024)
def rows(level: Level, slots: int, layout: int | None) -> tuple[Row, ...]:
    """One period of rows of raid4, raid5 or raid6; ValueError for a layout md does not have."""
    chosen = DEFAULT_LAYOUTS.get(level, 0) if layout is None else layout
    if level is Level.RAID4:
        return (Row(tuple(range(slots - 1)), (slots - 1,)),)
    if level is Level.RAID5:
        return tuple(_single_parity_row(row, slots, chosen) for row in range(slots))
    if level is Level.RAID6:
        period = slots - 1 if chosen >= _FIXED_Q else slots
        return tuple(_double_parity_row(row, slots, chosen) for row in range(period))
    raise ValueError(f"{level} has no parity rows")


_FIXED_Q = 16
"""Layouts from here on are those of raid5 over all but the last slot, with Q in the last."""
_ASYMMETRIC = (0, 1, 4, 5, 8, 9)
"""Layouts whose data begins at the lowest free slot of each row; the others begin after
the parity."""


def _single_parity_row(row: int, slots: int, layout: int) -> Row:
    parity = _rotating_parity(row, slots, layout)
    return _row(slots, layout, (parity,))


def _rotating_parity(row: int, slots: int, layout: int) -> int:
    if layout in (0, 2):
        return slots - 1 - row % slots
    if layout in (1, 3):
        return row % slots
    if layout in (4, 5):
        return 0 if layout == 4 else slots - 1
    raise ValueError(f"md has no parity layout {layout}")


def _double_parity_row(row: int, slots: int, layout: int) -> Row:
    if layout >= _FIXED_Q:
        inner = _single_parity_row(row, slots - 1, layout - _FIXED_Q)
        return Row(inner.data, (*inner.parity, slots - 1))
    if layout in (4, 5):
        first = 0 if layout == 4 else slots - 2
        return _row(slots, layout, (first, first + 1))
    if layout in (8, 9, 10):  # the three rotations of the disk data format
        turn = {8: row, 9: -2 - row, 10: -1 - row}[layout] % slots
        return _row(slots, layout, (turn, (turn + (-1 if layout == 10 else 1)) % slots))
    first = _rotating_parity(row, slots, layout)
    return _row(slots, layout, (first, (first + 1) % slots))


def _row(slots: int, layout: int, parity: tuple[int, ...]) -> Row:
    """The data in its order (raid5.c raid5_compute_sector)."""
    start = 0 if layout in _ASYMMETRIC else parity[-1] + 1
    order = (slot % slots for slot in range(start, start + slots))
    return Row(tuple(slot for slot in order if slot not in parity), parity)


@dataclass(frozen=True, slots=True)
class Copies:
    """A raid10 layout number, taken apart: near | far << 8 | offset << 16."""

    near: int
    far: int
    offset: bool

    @property
    def total(self) -> int:
        return self.near * self.far

    @classmethod
    def from_layout(cls, layout: int | None) -> Copies:
        """ValueError where the number names no copies at all."""
        number = DEFAULT_LAYOUTS[Level.RAID10] if layout is None else layout
        copies = cls(number & 0xFF, (number >> 8) & 0xFF, bool(number & 1 << 16))
        if copies.total < 1:
            raise ValueError(f"md has no raid10 layout {number}")
        return copies


def outermost_copies(geometry: Geometry) -> bool:
    """Whether reads take the copy that lies first on its drive, always: heads and far copies
    (drivers/md/raid10.c read_balance)."""
    copies = Copies.from_layout(geometry.layout)
    return geometry.seeks is True and copies.near == 1 and copies.far > 1


@lru_cache(maxsize=1024)
def placements(level: Level, slots: int, layout: int | None) -> tuple[tuple[int, ...], ...]:
    """For each chunk of one period, the slots that hold a copy, first copy first.

    raid1 is one placement over all slots. For raid10 the far sets of layout bits
    17 and 18 are not told apart: they change which failures are survived, not rates.
    """
    if level is Level.RAID1:
        return (tuple(range(slots)),)
    if level is not Level.RAID10:
        raise ValueError(f"{level} keeps no copies")
    copies = Copies.from_layout(layout)
    return tuple(
        tuple(
            (chunk * copies.near + near + far * copies.near) % slots
            for far in range(copies.far)
            for near in range(copies.near)
        )
        for chunk in range(slots)
    )


def is_sound(geometry: Geometry) -> bool:
    """Whether md could run such an array: a known level, a layout it has, enough slots."""
    if geometry.level is Level.UNKNOWN or geometry.slots < 1:
        return False
    try:
        if geometry.parity:
            return geometry.slots > geometry.parity and bool(
                rows(geometry.level, geometry.slots, geometry.layout)
            )
        if geometry.level is Level.RAID10:
            return Copies.from_layout(geometry.layout).total <= geometry.slots
    except ValueError:
        return False
    return True


def raid0_zones(member_bytes: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """The slots striped over in each zone of a raid0 of unequal members, widest first.

    md stripes over all members until the smallest is full, then over the rest,
    and so on (drivers/md/raid0.c create_strip_zones).
    """
    return tuple(
        tuple(slot for slot, size in enumerate(member_bytes) if size > edge)
        for edge in sorted({0, *member_bytes})[:-1]
    )
