"""What a level makes its members carry, as values.

A *load* is bytes a member reads and writes for each byte of user data. A level
gives two sets of loads: at the ceiling, and at the floor, where the kernel's
choice cannot be known from outside (which mirror serves a read, whether writes
fill whole stripes). Equal sets mean the model has no doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arraygauge.theory.geometry import Geometry
from arraygauge.theory.values import Workload


@dataclass(frozen=True, slots=True)
class MemberLoad:
    """Bytes read and written by one member for each byte of user data."""

    read: float = 0.0
    write: float = 0.0


Loads = tuple[MemberLoad, ...]
"""One load a slot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelLoads:
    floor: Loads
    ceiling: Loads
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What is asked of which array. ``rates`` are the slots' own bytes per second in
    the asked direction, 0 for a missing one: mirrors share reads in their proportion."""

    geometry: Geometry
    workload: Workload
    rates: tuple[float, ...]


def certain(loads: Loads, *assumptions: str) -> LevelLoads:
    """Floor and ceiling alike."""
    return LevelLoads(floor=loads, ceiling=loads, assumptions=assumptions)


def even_reads(geometry: Geometry, slots: Sequence[int], share: float) -> Loads:
    """``share`` bytes read by each of ``slots`` for a byte of user data, nothing by the rest."""
    chosen = frozenset(slots)
    return tuple(
        MemberLoad(read=share) if slot in chosen else MemberLoad() for slot in range(geometry.slots)
    )
