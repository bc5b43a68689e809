"""Where md puts chunks, written from the kernel's own arithmetic, one chunk at a time.

Sources: drivers/md/raid5.c raid5_compute_sector and drivers/md/raid10.c
__raid10_find_phys, both from memory of 6.x; drivers/md/raid0.c create_strip_zones.
"""

from __future__ import annotations

from dataclasses import dataclass

from arraygauge.inventory.values import Level


@dataclass(frozen=True, slots=True)
class Stripe:
    """One row of chunks of a parity level: slots of data in logical order, then P and Q."""

    data: tuple[int, ...]
    parity: tuple[int, ...]


def stripe_at(level: Level, slots: int, layout: int, number: int) -> Stripe:
    """Stripe ``number`` of raid4, raid5 or raid6."""
    if level is Level.RAID4:
        return Stripe(tuple(range(slots - 1)), (slots - 1,))
    if level is Level.RAID5:
        return _raid5(slots, layout, number)
    if 16 <= layout <= 20:
        inner = _raid5(slots - 1, layout - 16, number)
        return Stripe(inner.data, (*inner.parity, slots - 1))
    return _raid6(slots, layout, number)


def _raid5(slots: int, layout: int, number: int) -> Stripe:
    last = slots - 1
    parity = {
        0: last - number % slots,  # left asymmetric
        1: number % slots,  # right asymmetric
        2: last - number % slots,  # left symmetric
        3: number % slots,  # right symmetric
        4: 0,  # parity first
        5: last,  # parity last
    }[layout]
    if layout in (2, 3):
        return Stripe(tuple((parity + 1 + at) % slots for at in range(last)), (parity,))
    return Stripe(tuple(at + (at >= parity) for at in range(last)), (parity,))


def _raid6(slots: int, layout: int, number: int) -> Stripe:
    data = slots - 2
    if layout == 4:
        return Stripe(tuple(range(2, slots)), (0, 1))
    if layout == 5:
        return Stripe(tuple(range(data)), (data, data + 1))
    if layout in (2, 3):
        first = number % slots if layout == 3 else slots - 1 - number % slots
        second = (first + 1) % slots
        return Stripe(tuple((first + 2 + at) % slots for at in range(data)), (first, second))
    if layout == 10:  # as left symmetric, with Q before P
        first = slots - 1 - number % slots
        second = (first + slots - 1) % slots
        return Stripe(tuple((first + 1 + at) % slots for at in range(data)), (first, second))
    first = {
        0: slots - 1 - number % slots,
        1: number % slots,
        8: number % slots,
        9: slots - 1 - (number + 1) % slots,
    }[layout]
    if first == slots - 1:
        return Stripe(tuple(at + 1 for at in range(data)), (first, 0))
    return Stripe(tuple(at + 2 * (at >= first) for at in range(data)), (first, first + 1))


@dataclass(frozen=True, slots=True)
class Place:
    """A copy of a chunk: its slot and the number of the chunk on that drive."""

    slot: int
    chunk: int


FAR_STRIDE = 1 << 30
"""Chunks between a far copy and the one before it: the second half of a drive."""


def copies_at(slots: int, layout: int, chunk: int) -> tuple[Place, ...]:
    """The copies of one chunk of a raid10, in the order md looks at them."""
    near, far, offset = layout & 0xFF, layout >> 8 & 0xFF, bool(layout & 1 << 16)
    row, slot = divmod(chunk * near, slots)
    if offset:
        row *= far
    stride = 1 if offset else FAR_STRIDE
    places = []
    for _ in range(near):
        places += [Place((slot + copy * near) % slots, row + copy * stride) for copy in range(far)]
        slot += 1
        if slot >= slots:
            slot, row = 0, row + 1
    return tuple(places)


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of a raid0 with the same members all along."""

    start: int
    end: int
    slots: tuple[int, ...]
    drive_offset: int


def zones_of(sizes: tuple[int, ...]) -> tuple[Zone, ...]:
    """Zones of a raid0 whose members are this large, bytes."""
    found = []
    start = edge = 0
    for end in sorted(set(sizes)):
        slots = tuple(slot for slot, size in enumerate(sizes) if size >= end)
        length = (end - edge) * len(slots)
        found.append(Zone(start, start + length, slots, edge))
        start, edge = start + length, end
    return tuple(found)
