"""Which arrays are worth a look: levels, members and chunks for the drives at hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from arraygauge.inventory.values import Level
from arraygauge.theory.plan_values import (
    FAR_2,
    NEAR_2,
    OFFSET_2,
    Option,
    PlannedDrive,
    Scope,
    Supply,
)

MOST_MIRRORS = 3
"""More copies than three are made of small system partitions, not of work (common practice, no
published source)."""
LEAST_MEMBERS = {
    Level.LINEAR: 2,
    Level.RAID0: 2,
    Level.RAID1: 2,
    Level.RAID10: 4,
    Level.RAID4: 3,
    Level.RAID5: 3,
    Level.RAID6: 4,
}
"""Fewer members are either no array, or a plain mirror that costs more (raid5 of two, raid6 and
raid10 of three: md makes them, nobody should plan them)."""
ALIKE_SIZE, ALIKE_RATE = 1.1, 1.5
"""Drives within these factors of one another are one kind."""


def enumerate_options(supply: Supply, scope: Scope | None = None) -> tuple[Option, ...]:
    """Every sensible array of these drives, each once.

    Far and offset copies serve heads that move (md.rst; drivers without them read near copies
    as fast), so they are looked at only where drives turn or may turn. Drives of different
    kinds make arrays of their own, and all together one, of which md uses the smallest.
    """
    chosen = scope or Scope()
    found: dict[Option, None] = {}
    for pool in pools(supply):
        for level in chosen.levels:
            for width in _widths(level, len(pool), chosen):
                members = pool[:width]
                plain = Option(level=level, members=tuple(each.name for each in members))
                for option in _of_level(plain, members, chosen):
                    found.setdefault(option)
    return tuple(found)


def _widths(level: Level, most: int, scope: Scope) -> list[int]:
    if level is Level.RAID1:
        most = min(most, MOST_MIRRORS)
    asked = scope.widths if scope.widths is not None else range(2, most + 1)
    return [width for width in sorted(set(asked)) if LEAST_MEMBERS[level] <= width <= most]


def _of_level(plain: Option, members: tuple[PlannedDrive, ...], scope: Scope) -> Iterator[Option]:
    if plain.level is Level.RAID1:
        yield plain
        return
    layouts: tuple[int | None, ...] = (None,)
    if plain.level is Level.RAID10:
        turning = any(each.rotational is not False for each in members)
        layouts = (NEAR_2, FAR_2, OFFSET_2) if turning else (NEAR_2,)
    for layout in layouts:
        for chunk in scope.chunks:
            yield replace(plain, layout=layout, chunk_bytes=chunk)


def pools(supply: Supply) -> tuple[tuple[PlannedDrive, ...], ...]:
    """Drives in the order in which they would be taken: each kind by itself, then all."""
    kinds: list[list[PlannedDrive]] = []
    for drive in sorted(supply.drives, key=lambda each: -each.size_bytes):
        for kind in kinds:
            if _alike(kind[0], drive):
                kind.append(drive)
                break
        else:
            kinds.append([drive])
    ordered = [_spread_over_links(supply, kind) for kind in kinds]
    together = tuple(drive for kind in ordered for drive in kind)
    return (*ordered, together) if len(ordered) > 1 else tuple(ordered)


def _alike(one: PlannedDrive, other: PlannedDrive) -> bool:
    rates = sorted((one.rate.read_bytes_per_second, other.rate.read_bytes_per_second))
    return (
        one.rotational is other.rotational
        and one.size_bytes <= ALIKE_SIZE * other.size_bytes
        and rates[1] <= ALIKE_RATE * rates[0]
    )


def _spread_over_links(supply: Supply, drives: list[PlannedDrive]) -> tuple[PlannedDrive, ...]:
    """The next drive taken is always the one whose links have most left for it; of equals the
    faster, and then in the order given."""
    left, taken = list(drives), list[PlannedDrive]()
    while left:
        names = {each.name for each in taken}

        def share(drive: PlannedDrive, names: set[str] = names) -> float:
            parts = [
                link.read_bytes_per_second / (1 + len(names.intersection(link.members)))
                for link in supply.links
                if drive.name in link.members
            ]
            return min([drive.rate.read_bytes_per_second, *parts])

        best = max(left, key=share)
        left.remove(best)
        taken.append(best)
    return tuple(taken)
