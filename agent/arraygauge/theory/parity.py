"""Levels with parity: raid4, raid5 and raid6 (drivers/md/raid5.c)."""

from __future__ import annotations

from arraygauge.theory.geometry import Geometry, Row, rows
from arraygauge.theory.loads import Case, LevelLoads, MemberLoad, certain, even_reads


def parity_read(case: Case) -> LevelLoads:
    """Healthy reads never touch parity; what skipping it costs depends on the drives."""
    geometry = case.geometry
    if geometry.missing:
        return _parity_read_degraded(geometry)
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    data_rows = [sum(slot in row.data for row in pattern) for slot in range(geometry.slots)]
    chunks = sum(data_rows)
    skipping = tuple(MemberLoad(read=count / chunks) for count in data_rows)
    width = geometry.slots - geometry.parity
    passing = tuple(MemberLoad(read=1 / width) if count else MemberLoad() for count in data_rows)
    if geometry.seeks is False:
        return certain(skipping, "parity is never read while healthy; members have no seeks")
    if geometry.seeks is True:
        return certain(passing, "heads pass over parity: it costs the time of reading it")
    return LevelLoads(
        floor=passing,
        ceiling=skipping,
        assumptions=("not known whether members seek: parity passed over, or skipped",),
    )


def _parity_read_degraded(geometry: Geometry) -> LevelLoads:
    """Every read goes through the stripe cache, which reads each row once.

    A row that lost data is read from every surviving member, parity included
    (raid5.c fetch_block computes only when all others are up to date; with two
    lost in raid6, all that remain); a row that lost only parity is read for its data.
    """
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    width = geometry.slots - geometry.parity
    counts = [0] * geometry.slots
    for row in pattern:
        for slot in _slots_read(row, geometry.missing):
            counts[slot] += 1
    once = tuple(MemberLoad(read=count / (width * len(pattern))) for count in counts)
    full = even_reads(geometry, geometry.serving, 1 / width)
    return LevelLoads(
        floor=full,
        ceiling=once,
        assumptions=("degraded: every row passes the stripe cache and is read once",),
    )


def _slots_read(row: Row, missing: frozenset[int]) -> tuple[int, ...]:
    everyone = (*row.data, *row.parity) if missing & set(row.data) else row.data
    return tuple(slot for slot in everyone if slot not in missing)


def parity_write(case: Case) -> LevelLoads:
    """Between writing whole rows, and one chunk at a time by the cheaper of two ways.

    Whole row: each member writes its chunk and nothing is read. One data block in a
    row of N members with p parity: read-modify reads the block and its parity
    (1 + p), reconstruct reads the other data (N - p - 1); the kernel takes the
    fewer, reconstruct on a tie (raid5.c handle_stripe_dirtying).
    """
    geometry = case.geometry
    slots, parity = geometry.slots, geometry.parity
    width = slots - parity
    reads = min(1 + parity, width - 1)
    whole = tuple(
        MemberLoad(write=0.0 if slot in geometry.missing else 1 / width) for slot in range(slots)
    )
    piecemeal = tuple(
        MemberLoad()
        if slot in geometry.missing
        else MemberLoad(read=reads / slots, write=(1 + parity) / slots)
        for slot in range(slots)
    )
    return LevelLoads(
        floor=piecemeal,
        ceiling=whole,
        assumptions=("writes: between none and all of the rows written whole",),
    )
