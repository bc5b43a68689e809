"""Levels with parity: raid4, raid5 and raid6 (drivers/md/raid5.c)."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.theory.geometry import Geometry, Row, rows
from arraygauge.theory.loads import Case, LevelLoads, Loads, MemberLoad, certain, even_reads, reads
from arraygauge.theory.stripes import WriteCost, mean_write_cost
from arraygauge.theory.values import Access


def parity_read(case: Case) -> LevelLoads:
    """Healthy reads never touch parity; what skipping it costs depends on the drives."""
    geometry = case.geometry
    if geometry.missing:
        return _parity_read_degraded(case)
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    data_rows = [sum(slot in row.data for row in pattern) for slot in range(geometry.slots)]
    skipping = reads([count / sum(data_rows) for count in data_rows])
    width = geometry.slots - geometry.parity
    passing = reads([1 / width if count else 0.0 for count in data_rows])
    if case.workload.access is Access.RANDOM:
        return certain(skipping, "parity is never read while healthy")
    if geometry.seeks is False:
        return certain(skipping, "parity is never read while healthy; members have no seeks")
    if geometry.seeks is True:
        return certain(passing, "heads pass over parity: it costs the time of reading it")
    return LevelLoads(
        floor=passing,
        ceiling=skipping,
        assumptions=("not known whether members seek: parity passed over, or skipped",),
    )


def _parity_read_degraded(case: Case) -> LevelLoads:
    """Every read goes through the stripe cache, which reads each row once for a stream.

    A row that lost data is read from every surviving member, parity included
    (raid5.c fetch_block computes only when all others are up to date; with two
    lost in raid6, all that remain); a row that lost only parity is read for its data.
    """
    geometry = case.geometry
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    width = geometry.slots - geometry.parity
    counts = [0] * geometry.slots
    computed = 0
    for row in pattern:
        lost = bool(geometry.missing & set(row.data))
        computed += lost
        for slot in _slots_read(row, geometry.missing):
            counts[slot] += 1
    data = width * len(pattern)
    once = reads([count / data for count in counts], computed * width / data)
    if case.workload.access is Access.RANDOM:
        return _degraded_at_random(case, once)
    full = even_reads(geometry, geometry.serving, 1 / width)
    return LevelLoads(
        floor=Loads(full.members, once.parity),
        ceiling=once,
        assumptions=("degraded: every row passes the stripe cache and is read once",),
    )


def _degraded_at_random(case: Case, once: Loads) -> LevelLoads:
    """A transfer within a chunk meets a lost block alone; one that covers rows reads each of
    their blocks once, whether for itself or to compute the lost one."""
    alone = _block_by_block(case.geometry)
    words = "degraded: a lost block is computed from the whole row"
    if case.workload.transfer_bytes <= (case.geometry.chunk_bytes or 0):
        return certain(alone, words)
    return LevelLoads(floor=alone, ceiling=_lighter(alone, once), assumptions=(words,))


def _lighter(one: Loads, other: Loads) -> Loads:
    """For each member the lighter of two loads: no way of counting makes it carry less."""
    pairs = zip(one.members, other.members, strict=True)
    lighter = [min(first.read, second.read) for first, second in pairs]
    return reads(lighter, min(one.parity, other.parity))


def _slots_read(row: Row, missing: frozenset[int]) -> tuple[int, ...]:
    everyone = (*row.data, *row.parity) if missing & set(row.data) else row.data
    return tuple(slot for slot in everyone if slot not in missing)


def _block_by_block(geometry: Geometry) -> Loads:
    """Each block by itself: a lost one reads its row from all survivors, another only itself."""
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    counts = [0] * geometry.slots
    lost = 0
    for row in pattern:
        for wanted in row.data:
            needed = _slots_read(row, geometry.missing) if wanted in geometry.missing else (wanted,)
            lost += wanted in geometry.missing
            for slot in needed:
                counts[slot] += 1
    width = geometry.slots - geometry.parity
    data = width * len(pattern)
    return reads([count / data for count in counts], lost * width / data)


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
    return LevelLoads(
        floor=_spread(geometry, alone),
        ceiling=_spread(geometry, alone if random else whole),
        assumptions=(words,),
    )


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
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    members = []
    for slot in range(geometry.slots):
        data = sum(slot in row.data for row in pattern) / len(pattern)
        parity = sum(slot in row.parity for row in pattern) / len(pattern)
        members.append(
            MemberLoad()
            if slot in geometry.missing
            else MemberLoad(
                read=_share(cost.data_reads, data, geometry.slots - geometry.parity, cost)
                + _share(cost.parity_reads, parity, geometry.parity, cost),
                write=_share(cost.written, data, geometry.slots - geometry.parity, cost)
                + _share(cost.parity_writes, parity, geometry.parity, cost),
            )
        )
    touched = cost.written + cost.data_reads + cost.parity_reads
    return Loads(tuple(members), touched / cost.written)


def _share(moved: float, here: float, wide: int, cost: WriteCost) -> float:
    """Bytes moved by one of ``wide`` members that is in that role for ``here`` of the rows."""
    return moved * here / wide / cost.written
