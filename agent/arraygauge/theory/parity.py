"""Levels with parity: raid4, raid5 and raid6 (drivers/md/raid5.c)."""

from __future__ import annotations

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
    if case.workload.access is Access.RANDOM:
        return _parity_read_degraded_random(geometry)
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
    full = even_reads(geometry, geometry.serving, 1 / width)
    return LevelLoads(
        floor=Loads(full.members, once.parity),
        ceiling=once,
        assumptions=("degraded: every row passes the stripe cache and is read once",),
    )


def _slots_read(row: Row, missing: frozenset[int]) -> tuple[int, ...]:
    everyone = (*row.data, *row.parity) if missing & set(row.data) else row.data
    return tuple(slot for slot in everyone if slot not in missing)


def _parity_read_degraded_random(geometry: Geometry) -> LevelLoads:
    """A read of a lost block reads its row from all survivors; of another, only itself."""
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    counts = [0] * geometry.slots
    lost = 0
    for row in pattern:
        for wanted in row.data:
            needed = _slots_read(row, geometry.missing) if wanted in geometry.missing else (wanted,)
            lost += wanted in geometry.missing
            for slot in needed:
                counts[slot] += 1
    data = (geometry.slots - geometry.parity) * len(pattern)
    computed = lost * (geometry.slots - geometry.parity) / data
    return certain(
        reads([count / data for count in counts], computed),
        "degraded: a lost block is computed from the whole row",
    )


def parity_write(case: Case) -> LevelLoads:
    """Between rows written whole, which needs neighbours to meet in the stripe cache, and
    every transfer by itself. Random transfers have no neighbours."""
    geometry = case.geometry
    width = geometry.slots - geometry.parity
    whole = WriteCost(width, 0.0, 0.0, geometry.parity, width)
    alone = _cost_alone(case)
    ceiling = alone if case.workload.access is Access.RANDOM else whole
    share = alone.whole / alone.written
    return LevelLoads(
        floor=_spread(geometry, alone),
        ceiling=_spread(geometry, ceiling),
        assumptions=(
            f"writes: {share:.0%} of rows are whole if each transfer stands alone"
            + ("" if ceiling is alone else ", all if neighbours meet in the stripe cache"),
        ),
    )


def _cost_alone(case: Case) -> WriteCost:
    geometry, workload = case.geometry, case.workload
    width = geometry.slots - geometry.parity
    chunk = geometry.chunk_bytes or workload.transfer_bytes
    if geometry.missing:
        return _cost_alone_degraded(geometry, width)
    return mean_write_cost(
        workload.transfer_bytes, workload.offset_bytes, chunk, width, geometry.parity
    )


def _cost_alone_degraded(geometry: Geometry, width: int) -> WriteCost:
    """The worst that a write to a degraded row takes: all that survives of it is read."""
    survivors = len(geometry.serving)
    data = min(width, survivors)
    return WriteCost(1.0, data - 1.0, max(survivors - data, 0), geometry.parity, 0.0)


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
