"""Levels that keep copies: raid1 and raid10 (drivers/md/raid1.c, raid10.c read_balance)."""

from __future__ import annotations

from arraygauge.theory.geometry import Copies, Geometry, placements
from arraygauge.theory.loads import Case, LevelLoads, Loads, MemberLoad, certain, even_reads


def raid1_read(case: Case) -> LevelLoads:
    """One sequential stream stays on one mirror; k streams use up to k of them."""
    geometry, rates, streams = case.geometry, case.rates, case.workload.streams
    serving = sorted(geometry.serving, key=lambda slot: rates[slot])
    busy = min(streams, len(serving))
    pool = serving[-busy:]
    total = sum(rates[slot] for slot in pool)
    ceiling = tuple(
        MemberLoad(read=rates[slot] / total) if slot in pool else MemberLoad()
        for slot in range(geometry.slots)
    )
    return LevelLoads(
        floor=even_reads(geometry, serving[:1], 1.0),
        ceiling=ceiling,
        assumptions=(f"raid1: {streams} sequential stream(s) keep {busy} mirror(s) busy",),
    )


def raid10_read(case: Case) -> LevelLoads:
    """Drives without seeks share the copies (fewest transfers pending is chosen); drives
    with seeks read near and offset copies as one of each, passing over the other."""
    geometry, rates = case.geometry, case.rates
    groups = _serving_copies(geometry)
    all_copies = _split_over_copies(geometry, groups, rates)
    one_copy = tuple(
        MemberLoad(
            read=sum(min(group, key=lambda s: rates[s]) == slot for group in groups) / len(groups)
        )
        for slot in range(geometry.slots)
    )
    far_apart = Copies.from_layout(geometry.layout).far > 1
    if geometry.seeks is False:
        return certain(all_copies, "raid10: all copies serve reads, members have no seeks")
    if geometry.seeks is True and not far_apart:
        return certain(one_copy, "raid10: members with seeks read one of each pair of near copies")
    return LevelLoads(
        floor=one_copy,
        ceiling=all_copies,
        assumptions=("raid10: between one copy and all copies serving reads",),
    )


def _serving_copies(geometry: Geometry) -> tuple[tuple[int, ...], ...]:
    chunks = placements(geometry.level, geometry.slots, geometry.layout)
    return tuple(
        tuple(slot for slot in chunk if slot not in geometry.missing) or chunk for chunk in chunks
    )


def _split_over_copies(
    geometry: Geometry, groups: tuple[tuple[int, ...], ...], rates: tuple[float, ...]
) -> Loads:
    """Each chunk's reads shared by its copies in proportion to their rates."""
    shares = [0.0] * geometry.slots
    for group in groups:
        total = sum(rates[slot] for slot in group)
        for slot in group:
            shares[slot] += (rates[slot] / total if total else 1 / len(group)) / len(groups)
    return tuple(MemberLoad(read=share) for share in shares)


def copies_write(case: Case) -> LevelLoads:
    """Every copy is written."""
    geometry = case.geometry
    chunks = placements(geometry.level, geometry.slots, geometry.layout)
    return certain(
        tuple(
            MemberLoad(
                write=0.0
                if slot in geometry.missing
                else sum(chunk.count(slot) for chunk in chunks) / len(chunks)
            )
            for slot in range(geometry.slots)
        )
    )
