"""Levels that keep copies: raid1 and raid10 (drivers/md/raid1.c, raid10.c read_balance)."""

from __future__ import annotations

from arraygauge.theory.geometry import Copies, Geometry, placements
from arraygauge.theory.loads import Case, LevelLoads, Loads, MemberLoad, certain, even_reads, reads
from arraygauge.theory.values import Access


def raid1_read(case: Case) -> LevelLoads:
    """One sequential stream stays on one mirror; k streams use up to k of them, and random
    transfers as many as are in flight. Write-mostly mirrors serve only if no other can."""
    geometry, rates, workload = case.geometry, case.rates, case.workload
    serving = [slot for slot in geometry.serving if slot not in geometry.write_mostly]
    ranked = sorted(serving or geometry.serving, key=lambda slot: rates[slot])
    busy = len(ranked) if workload.access is Access.RANDOM else min(workload.streams, len(ranked))
    pool = ranked[-busy:]
    ceiling = _shared(geometry, (tuple(pool),), rates)
    if workload.scattered and geometry.seeks is False and len(pool) == len(ranked):
        return LevelLoads(
            floor=_by_count(geometry, (tuple(pool),)),
            ceiling=ceiling,
            assumptions=("raid1: reads go to the mirror with the fewest pending",),
        )
    return LevelLoads(
        floor=even_reads(geometry, ranked[:1], 1.0),
        ceiling=ceiling,
        assumptions=(f"raid1: between one mirror and {len(pool)} busy with these reads",),
    )


def raid10_read(case: Case) -> LevelLoads:
    """Drives without seeks share the copies (fewest transfers pending is chosen). Heads pass
    over the near or offset copies they do not read, which costs the time of reading them;
    far copies lie out of their way, and md reads the outer ones like a stripe."""
    geometry = case.geometry
    groups = _serving_copies(geometry)
    shared = _shared(geometry, groups, case.rates)
    if geometry.seeks is False or (geometry.seeks and case.workload.access is Access.RANDOM):
        return LevelLoads(
            floor=_by_count(geometry, groups),
            ceiling=shared,
            assumptions=("raid10: all copies serve reads, by count or by speed",),
        )
    copies = Copies.from_layout(geometry.layout)
    if geometry.seeks is True and copies.near == 1 and not copies.offset:
        return certain(shared, "raid10: far copies are read like a stripe")
    passing = reads(_held(geometry))
    if geometry.seeks is True and not copies.offset and not case.workload.scattered:
        return certain(passing, "raid10: heads pass over the copies they do not read")
    return LevelLoads(
        floor=passing,
        ceiling=shared,
        assumptions=("raid10: between passing over all copies not read and over none",),
    )


def _serving_copies(geometry: Geometry) -> tuple[tuple[int, ...], ...]:
    chunks = placements(geometry.level, geometry.slots, geometry.layout)
    return tuple(
        tuple(slot for slot in chunk if slot not in geometry.missing) or chunk for chunk in chunks
    )


def _shared(
    geometry: Geometry, groups: tuple[tuple[int, ...], ...], rates: tuple[float, ...]
) -> Loads:
    """Each chunk's reads shared by its copies so that no member is busier than it must be,
    which is where choosing the fewest pending transfers leads."""
    shares = [
        {slot: rates[slot] / sum(rates[other] for other in group) for slot in group}
        if any(rates[slot] for slot in group)
        else dict.fromkeys(group, 1 / len(group))
        for group in groups
    ]
    loads = [0.0] * geometry.slots
    for share in shares:
        for slot, part in share.items():
            loads[slot] += part / len(groups)
    for _ in range(BALANCING_ROUNDS):
        if not _balance(shares, loads, rates):
            break
    return reads(loads)


def _by_count(geometry: Geometry, groups: tuple[tuple[int, ...], ...]) -> Loads:
    """As many reads to a slow copy as to a fast one: what fewest pending comes to while few
    transfers are in flight."""
    return _shared(geometry, groups, (1.0,) * geometry.slots)


BALANCING_ROUNDS = 60
"""Sweeps over the chunks; each halves what is left, and disjoint copies need none."""


def _balance(shares: list[dict[int, float]], loads: list[float], rates: tuple[float, ...]) -> bool:
    """Move part of each chunk from its busiest copy to its idlest; whether any was moved."""
    moved = False
    for share in shares:
        served = [slot for slot in share if rates[slot]]
        if len(served) < 2:
            continue
        busiest = max(
            (slot for slot in served if share[slot] > 0), key=lambda slot: loads[slot] / rates[slot]
        )
        idlest = min(served, key=lambda slot: loads[slot] / rates[slot])
        gap = loads[busiest] / rates[busiest] - loads[idlest] / rates[idlest]
        if gap <= 1e-6 * loads[busiest] / rates[busiest]:
            continue
        level = gap / (1 / rates[busiest] + 1 / rates[idlest])
        part = min(level, share[busiest] / len(shares))
        loads[busiest] -= part
        loads[idlest] += part
        share[busiest] -= part * len(shares)
        share[idlest] += part * len(shares)
        moved = True
    return moved


def copies_write(case: Case) -> LevelLoads:
    """Every copy is written."""
    return certain(Loads(tuple(MemberLoad(write=share) for share in _held(case.geometry))))


def _held(geometry: Geometry) -> list[float]:
    """Bytes each serving slot holds for a byte of user data."""
    chunks = placements(geometry.level, geometry.slots, geometry.layout)
    return [
        0.0
        if slot in geometry.missing
        else sum(chunk.count(slot) for chunk in chunks) / len(chunks)
        for slot in range(geometry.slots)
    ]
