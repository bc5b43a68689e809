"""Writes of levels with parity: raid4, raid5 and raid6 (drivers/md/raid5.c)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, rows
from arraygauge.theory.loads import Case, LevelLoads, Loads, MemberLoad, certain
from arraygauge.theory.stripes import WriteCost, mean_write_cost
from arraygauge.theory.values import Access


def parity_write(case: Case) -> LevelLoads:
    """Between rows written whole, which needs neighbours to meet in the stripe cache, and
    every transfer by itself. Random transfers have no neighbours."""
    geometry, workload = case.geometry, case.workload
    width = geometry.slots - geometry.parity
    whole = WriteCost(width, 0.0, 0.0, geometry.parity, width)
    chunk = geometry.chunk_bytes or workload.transfer_bytes
    alone = mean_write_cost(
        workload.transfer_bytes, workload.offset_bytes, chunk, width, geometry.parity
    )
    random = workload.access is Access.RANDOM
    share = alone.whole / alone.written
    words = f"writes: {share:.0%} of rows are whole if each transfer stands alone" + (
        "" if random else ", all if neighbours meet in the stripe cache"
    )
    if geometry.missing and share < 1:
        return _degraded_write(case, whole, random, words)
    floor = _spread(geometry, alone)
    if random or share == 1:
        return certain(floor, words)
    return LevelLoads(floor=floor, ceiling=_spread(geometry, whole), assumptions=(words,))


def _degraded_write(case: Case, whole: WriteCost, random: bool, words: str) -> LevelLoads:
    """Rows in part, degraded: at worst all that survives of a row is read first; at best, where
    only its parity was lost, nothing is, and only the data is written."""
    geometry, size = case.geometry, case.workload.transfer_bytes
    width = geometry.slots - geometry.parity
    blocks = max(1, min(width, size // (geometry.chunk_bytes or size)))
    # Lost blocks are computed first, and then the parity: a pass over the row for each.
    computed = len(geometry.serving) * (1 + len(geometry.missing)) / blocks
    worst = WriteCost(blocks, 0.0, 0.0, geometry.parity)
    best = WriteCost(blocks, 0.0, 0.0, 0.0)
    return LevelLoads(
        floor=_with_reads(geometry, _spread(geometry, worst), 1 / blocks, computed),
        ceiling=_spread(geometry, best if random else whole),
        assumptions=(words, "degraded: between reading nothing and all that survives of a row"),
    )


def _with_reads(geometry: Geometry, loads: Loads, share: float, parity: float) -> Loads:
    """The same, and ``share`` bytes read by every serving member besides."""
    return Loads(
        tuple(
            load if slot in geometry.missing else replace(load, read=load.read + share)
            for slot, load in enumerate(loads.members)
        ),
        loads.parity + parity,
    )


def _spread(geometry: Geometry, cost: WriteCost) -> Loads:
    """A cost for each byte of user data, laid on the members: evenly where parity
    rotates, apart where it is fixed; what would go to a missing member goes nowhere."""
    wide = geometry.slots - geometry.parity
    roles = _roles(geometry.level, geometry.slots, geometry.layout)
    by_role = {
        (data, parity): MemberLoad(
            read=_share(cost.data_reads, data, wide, cost)
            + _share(cost.parity_reads, parity, geometry.parity, cost),
            write=_share(cost.written, data, wide, cost)
            + _share(cost.parity_writes, parity, geometry.parity, cost),
        )
        for data, parity in set(roles)
    }
    members = [
        MemberLoad() if slot in geometry.missing else by_role[role]
        for slot, role in enumerate(roles)
    ]
    touched = cost.written + cost.data_reads + cost.parity_reads
    return Loads(tuple(members), touched / cost.written)


@lru_cache(maxsize=256)
def _roles(level: Level, slots: int, layout: int | None) -> tuple[tuple[float, float], ...]:
    """For each slot the shares of rows in which it holds data, and parity."""
    pattern = rows(level, slots, layout)
    return tuple(
        (
            sum(slot in row.data for row in pattern) / len(pattern),
            sum(slot in row.parity for row in pattern) / len(pattern),
        )
        for slot in range(slots)
    )


def _share(moved: float, here: float, wide: int, cost: WriteCost) -> float:
    """Bytes moved by one of ``wide`` members that is in that role for ``here`` of the rows."""
    return moved * here / wide / cost.written
