"""Reads of levels with parity: raid4, raid5 and raid6 (drivers/md/raid5.c)."""

from __future__ import annotations

from functools import lru_cache

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, Row, rows
from arraygauge.theory.loads import Case, LevelLoads, Loads, MemberLoad, certain, reads
from arraygauge.theory.values import Access


def parity_read(case: Case) -> LevelLoads:
    """Healthy reads never touch parity; what skipping it costs depends on the drives."""
    geometry = case.geometry
    if geometry.missing:
        return _parity_read_degraded(case)
    skipping = _skipping_parity(geometry.level, geometry.slots, geometry.layout)
    if case.workload.access is Access.RANDOM:
        return certain(skipping, "parity is never read while healthy")
    if geometry.seeks is False:
        return certain(
            _over_parity(geometry, skipping, passing=False),
            "parity is never read while healthy; members have no seeks",
        )
    passing = _over_parity(geometry, skipping, passing=True)
    if geometry.seeks is True:
        return certain(
            passing, "heads pass over parity: it costs the time of reading it, or a move if shorter"
        )
    return LevelLoads(
        floor=passing,
        ceiling=skipping,
        assumptions=("not known whether members seek: parity passed over, or skipped",),
    )


@lru_cache(maxsize=256)
def _skipping_parity(level: Level, slots: int, layout: int | None) -> Loads:
    """Each member read as often as it holds data."""
    pattern = rows(level, slots, layout)
    data_rows = [sum(slot in row.data for row in pattern) for slot in range(slots)]
    return reads([count / sum(data_rows) for count in data_rows])


def _over_parity(geometry: Geometry, skipping: Loads, *, passing: bool) -> Loads:
    """The same loads of one stream, with a move at each run of parity chunks of a member, or
    a jump if heads may pass over them."""
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    width = geometry.slots - geometry.parity
    each = 1 / (len(pattern) * width * geometry.chunk_bytes) if geometry.chunk_bytes else 0.0
    runs = _runs_of_parity(geometry.level, geometry.slots, geometry.layout)
    return Loads(
        tuple(
            MemberLoad(
                read=load.read,
                moves=0.0 if passing else count * each,
                jumps=count * each if passing else 0.0,
                passed=1 / width - load.read if passing and load.read else 0.0,
            )
            for load, count in zip(skipping.members, runs, strict=True)
        )
    )


@lru_cache(maxsize=256)
def _runs_of_parity(level: Level, slots: int, layout: int | None) -> tuple[int, ...]:
    """How often in a period each slot goes over from parity to data."""
    pattern = rows(level, slots, layout)
    return tuple(
        sum(
            slot in row.data and slot in pattern[number - 1].parity
            for number, row in enumerate(pattern)
        )
        for slot in range(slots)
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
    # Without heads to pass over them, skipped parity chunks may cost a jump in each row.
    moves = 1 / (width * geometry.chunk_bytes) if not geometry.seeks and geometry.chunk_bytes else 0
    full = MemberLoad(read=1 / width, moves=moves)
    return LevelLoads(
        floor=Loads(_on_serving(geometry, full), once.parity),
        ceiling=once,
        assumptions=("degraded: every row passes the stripe cache and is read once",),
    )


def _on_serving(geometry: Geometry, load: MemberLoad) -> tuple[MemberLoad, ...]:
    return tuple(
        MemberLoad() if slot in geometry.missing else load for slot in range(geometry.slots)
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
