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
from arraygauge.values import frozen


@dataclass(frozen=True, slots=True)
class MemberLoad:
    """Bytes read and written by one member for each byte of user data.

    ``moves``: how often it goes on at a place that takes an operation to reach. ``jumps``: how
    often over a gap, of ``passed`` bytes in all, that its heads may pass over instead.
    """

    read: float = 0.0
    write: float = 0.0
    moves: float = 0.0
    jumps: float = 0.0
    passed: float = 0.0

    @property
    def leaps(self) -> float:
        return self.moves + self.jumps


@dataclass(frozen=True, slots=True)
class Loads:
    """One load a slot, and bytes run through parity arithmetic for each byte of user data."""

    members: tuple[MemberLoad, ...]
    parity: float = 0.0


@frozen
class LevelLoads:
    floor: Loads
    ceiling: Loads
    assumptions: tuple[str, ...] = ()


@frozen
class Case:
    """What is asked of which array. ``rates`` are the slots' own bytes per second in
    the asked direction, 0 for a missing one: mirrors share reads in their proportion."""

    geometry: Geometry
    workload: Workload
    rates: tuple[float, ...]


def certain(loads: Loads, *assumptions: str) -> LevelLoads:
    """Floor and ceiling alike."""
    return LevelLoads(floor=loads, ceiling=loads, assumptions=assumptions)


def reads(shares: Sequence[float], parity: float = 0.0) -> Loads:
    """Bytes read by each slot for a byte of user data."""
    return Loads(tuple(MemberLoad(read=share) for share in shares), parity)


def even_reads(geometry: Geometry, slots: Sequence[int], share: float) -> Loads:
    """``share`` bytes read by each of ``slots`` for a byte of user data, nothing by the rest."""
    chosen = frozenset(slots)
    return reads([share if slot in chosen else 0.0 for slot in range(geometry.slots)])
