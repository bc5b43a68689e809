"""A case that the model's band once did not contain: found by the simulation."""

from __future__ import annotations

from dataclasses import dataclass

from arraygauge.inventory.values import Level
from simulated.cases import KIB, Case, Drive, Way

PARITY_LEVELS = (Level.RAID4, Level.RAID5, Level.RAID6)
ONE = 1e8
CHUNK = 64 * KIB


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """``case`` was outside the band because of ``reason``."""

    name: str
    reason: str
    case: Case


def drives_of(*rates: float, **changes: float) -> tuple[Drive, ...]:
    return tuple(Drive(read=rate * ONE, write=rate * ONE, **changes) for rate in rates)


def reading(level: Level, drives: tuple[Drive, ...], chunks: float, depth: int) -> Case:
    return Case(
        level=level,
        drives=drives,
        way=Way.READ,
        transfer_bytes=int(chunks * CHUNK),
        depth=depth,
        chunk_bytes=CHUNK,
    )
