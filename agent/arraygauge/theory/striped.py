"""Levels without redundancy: linear and raid0 (drivers/md/md-linear.c, raid0.c)."""

from __future__ import annotations

from arraygauge.theory.geometry import raid0_zones
from arraygauge.theory.loads import Case, LevelLoads, certain, even_reads, reads


def linear_read(case: Case) -> LevelLoads:
    """One place is on one member: a stream runs at that member's rate, while random
    places fall on members in proportion to their size."""
    geometry = case.geometry
    if case.workload.scattered:
        sizes = geometry.member_bytes or (1,) * geometry.slots
        spread = reads([size / sum(sizes) for size in sizes])
        return certain(spread, "linear: places spread over the members by their size")
    order = sorted(range(geometry.slots), key=lambda slot: case.rates[slot])
    return LevelLoads(
        floor=even_reads(geometry, order[:1], 1.0),
        ceiling=even_reads(geometry, order[-1:], 1.0),
        assumptions=("linear: one stream uses one member at a time",),
    )


def raid0_read(case: Case) -> LevelLoads:
    """Chunks go round all members; unequal members make zones, each narrower than the last."""
    zones = raid0_zones(case.geometry.member_bytes) or (tuple(range(case.geometry.slots)),)
    widest, narrowest = zones[0], zones[-1]
    assumptions = (
        (f"raid0 zones: the first {len(widest)} members wide, the last {len(narrowest)}",)
        if len(zones) > 1
        else ()
    )
    return LevelLoads(
        floor=even_reads(case.geometry, narrowest, 1 / len(narrowest)),
        ceiling=even_reads(case.geometry, widest, 1 / len(widest)),
        assumptions=assumptions,
    )
