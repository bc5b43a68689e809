"""Levels that keep copies: raid1 and raid10 (drivers/md/raid1.c, raid10.c read_balance)."""

from __future__ import annotations

from functools import lru_cache
from math import gcd

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Copies, Geometry, outermost_copies, placements
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
    """Drives without seeks share the copies (fewest transfers pending is chosen). Heads read
    far and offset copies where they lie first; of near ones they pass over those they do not
    read, or take runs of chunks and pass over less, the nearest head being chosen."""
    geometry = case.geometry
    groups = _serving_copies(geometry)
    shared = _shared(geometry, groups, case.rates)
    if geometry.seeks and outermost_copies(geometry):
        first = _first_copies(case, groups)
        direct = Loads(tuple(MemberLoad(read=load.read) for load in first.members))
        return LevelLoads(
            floor=first,
            ceiling=direct if geometry.missing else first,
            assumptions=("raid10: heads read the copy that lies first on its drive",),
        )
    counted = _by_count(geometry, groups)
    if geometry.seeks is False or (geometry.seeks and case.workload.access is Access.RANDOM):
        return LevelLoads(
            floor=_jumping(case, counted),
            ceiling=shared,
            assumptions=("raid10: all copies serve reads, by count or by speed",),
        )
    return LevelLoads(
        floor=_passing(geometry, counted),
        ceiling=shared,
        assumptions=("raid10: between passing over all copies not read and over none",),
    )


def _jumping(case: Case, loads: Loads) -> Loads:
    """Each piece may go on where another copy was read: a jump, for one stream."""
    chunk = case.geometry.chunk_bytes
    if not chunk or case.workload.access is Access.RANDOM:
        return loads
    piece = gcd(chunk, case.workload.transfer_bytes)
    return Loads(
        tuple(MemberLoad(read=load.read, moves=load.read / piece) for load in loads.members)
    )


def _passing(geometry: Geometry, loads: Loads) -> Loads:
    """Every copy held and not read is passed over."""
    held = _held(geometry)
    return Loads(
        tuple(
            MemberLoad(read=load.read, passed=max(0.0, most - load.read))
            for load, most in zip(loads.members, held, strict=True)
        )
    )


def _first_copies(case: Case, groups: tuple[tuple[int, ...], ...]) -> Loads:
    """The first copy that is left of each chunk. Offset copies lie between, and are passed over;
    a copy of what was lost lies elsewhere: there and back."""
    geometry, size = case.geometry, case.workload.transfer_bytes
    copies = Copies.from_layout(geometry.layout)
    chunks = placements(geometry.level, geometry.slots, geometry.layout)
    share, chunk = 1 / len(groups), geometry.chunk_bytes or size
    members = [MemberLoad()] * geometry.slots
    for group, placed in zip(groups, chunks, strict=True):
        elsewhere, between = group[0] != placed[0], copies.offset * (copies.far - 1)
        load = members[group[0]]
        members[group[0]] = MemberLoad(
            read=load.read + share,
            moves=load.moves + 2 * elsewhere * share / chunk,
            jumps=load.jumps + copies.offset * share / chunk,
            passed=load.passed + between * share,
        )
    if case.workload.access is Access.RANDOM:
        members = [MemberLoad(read=load.read) for load in members]
    return Loads(tuple(members))


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
    return _balanced(geometry.slots, groups, rates)


@lru_cache(maxsize=256)
def _balanced(slots: int, groups: tuple[tuple[int, ...], ...], rates: tuple[float, ...]) -> Loads:
    shares = [
        {slot: rates[slot] / sum(rates[other] for other in group) for slot in group}
        if any(rates[slot] for slot in group)
        else dict.fromkeys(group, 1 / len(group))
        for group in groups
    ]
    loads = [0.0] * slots
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
    """Every copy is written; far and offset ones out of the order of their addresses."""
    geometry = case.geometry
    written = tuple(MemberLoad(write=share) for share in _held(geometry))
    chunk = geometry.chunk_bytes
    apart = geometry.level is Level.RAID10 and Copies.from_layout(geometry.layout).far > 1
    if case.workload.access is Access.RANDOM or not apart or not chunk:
        return certain(Loads(written))
    piece = gcd(chunk, case.workload.transfer_bytes)
    jumping = tuple(MemberLoad(write=load.write, moves=load.write / piece) for load in written)
    return LevelLoads(floor=Loads(jumping), ceiling=Loads(written))


def _held(geometry: Geometry) -> tuple[float, ...]:
    """Bytes each serving slot holds for a byte of user data."""
    return _held_by(geometry.level, geometry.slots, geometry.layout, geometry.missing)


@lru_cache(maxsize=256)
def _held_by(
    level: Level, slots: int, layout: int | None, missing: frozenset[int]
) -> tuple[float, ...]:
    chunks = placements(level, slots, layout)
    return tuple(
        0.0 if slot in missing else sum(chunk.count(slot) for chunk in chunks) / len(chunks)
        for slot in range(slots)
    )
