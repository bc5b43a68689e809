"""Levels without redundancy: linear and raid0 (drivers/md/md-linear.c, raid0.c)."""

from __future__ import annotations

from arraygauge.theory.geometry import Geometry, raid0_zones
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
    zones = _zones_that_count(case.geometry)
    ranked = sorted(zones, key=lambda zone: len(zone) * min(case.rates[slot] for slot in zone))
    worst, best = ranked[0], ranked[-1]
    ceiling = even_reads(case.geometry, best, 1 / len(best))
    if len(zones) == 1:
        return certain(ceiling)
    return LevelLoads(
        floor=even_reads(case.geometry, worst, 1 / len(worst)),
        ceiling=ceiling,
        assumptions=(f"raid0 zones: the best {len(best)} members wide, the worst {len(worst)}",),
    )


LEAST_ZONE_SHARE = 0.02
"""Members of nearly equal size leave a sliver of a zone: a smaller share of the array than
this says nothing about its rate."""


def _zones_that_count(geometry: Geometry) -> list[tuple[int, ...]]:
    sizes = geometry.member_bytes
    if not sizes:
        return [tuple(range(geometry.slots))]
    edges = sorted({0, *sizes})
    zones = zip(raid0_zones(sizes), edges, edges[1:], strict=False)
    return [
        zone
        for zone, begin, end in zones
        if len(zone) * (end - begin) >= LEAST_ZONE_SHARE * sum(sizes)
    ]
