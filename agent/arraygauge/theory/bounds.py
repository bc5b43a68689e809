"""From loads and capacities to a band of rates.

Operational analysis: one byte of user data asks each resource i for D_i seconds;
no arrangement of queues lets the array run faster than 1 / max(D_i), nor, with N
transfers of T bytes in flight, faster than N * T over the time a lone transfer takes
(Jain, The Art of Computer Systems Performance Analysis, 1991, box 33.1). The
resource with the largest demand is the bottleneck. That is the ceiling.

The floor is the same for one sequential stream whose chunks go round the members often
enough (``streams.py`` for where they do not). Transfers to unrelated places meet by
chance in the queues: their floor is the exact mean value of a network whose service
times vary as much as waiting lines' theory assumes; real drives are steadier.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf

from arraygauge.theory.chance import meeting_by_chance, sharing_links
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.loads import LevelLoads
from arraygauge.theory.lone import (
    contiguous_bytes,
    least_lone_seconds,
    longest_lone_seconds,
)
from arraygauge.theory.network import Demand, Network, Side, demands, most_jumping
from arraygauge.theory.streams import stream_floor
from arraygauge.theory.values import Access, Expectation, Resource, ResourceKind, Use, Workload

JOINT_BOTTLENECK_SHARE = 0.95
"""Resources within 5 % of the largest demand share the title: capacities that were
measured carry an error of that order. The most shared of them is named, because
adding a drive can relieve a member but never a link."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Floor and ceiling of one workload at every depth up to ``deepest``."""

    workload: Workload
    used: tuple[Demand, ...]
    """At the ceiling."""
    most: float
    """Bytes per second however many transfers are in flight, at the ceiling."""
    lone: float
    """Bytes per second of one transfer at a time, at the ceiling."""
    floors: Callable[[int], float]
    """Bytes per second with so many transfers in flight, at the floor."""

    def ceiling(self, depth: int) -> float:
        return min(self.most, depth * self.lone)

    def floor(self, depth: int) -> float:
        return min(self.ceiling(depth), self.floors(depth))


def bounds(
    network: Network, geometry: Geometry, loads: LevelLoads, workload: Workload, deepest: int
) -> Bounds:
    """Raises ValueError when no resource carries any load."""
    best = Side(network, geometry, loads.ceiling, workload)
    random = workload.access is Access.RANDOM
    run = contiguous_bytes(best, at_best=True) if random else inf
    used = demands(network, loads.ceiling, run, network.background.least)
    certain = loads.floor is loads.ceiling and network.background.least == network.background.most
    worst = best if loads.floor is loads.ceiling else Side(network, geometry, loads.floor, workload)
    return Bounds(
        workload=workload,
        used=tuple(used),
        most=min(demand.most for demand in used),
        lone=_lone_rate(best),
        floors=_floors(worst, deepest, used if certain and not workload.scattered else None),
    )


def _lone_rate(side: Side) -> float:
    """Bytes per second with one transfer in flight. No bound for a degraded parity array:
    what one transfer read to compute a lost block may be what the next one asks for."""
    if side.geometry.parity and side.geometry.missing:
        return inf
    return side.workload.transfer_bytes / least_lone_seconds(side)


def _floors(
    side: Side, deepest: int, used: Sequence[Demand] | None = None
) -> Callable[[int], float]:
    """``used`` where the demands at the ceiling hold for the floor as well."""
    workload, network = side.workload, side.network
    run = contiguous_bytes(side, at_best=False) if workload.scattered else inf
    if used is None:
        used = demands(network, side.loads, run, network.background.most)
    alone = workload.transfer_bytes / longest_lone_seconds(side, used)
    if workload.scattered:
        met = meeting_by_chance(side, used, run, deepest)
        return lambda depth: min(met[depth - 1], depth * alone, _in_step(side, used, alone, depth))
    most = min(demand.most for demand in used)
    if most_jumping(side):
        held_up = sharing_links(side, inf, len(side.members), varying=False)
        most = min([most, *(demand.most for demand in held_up)])

    def floor(depth: int) -> float:
        asked = side
        if depth != workload.queue_depth:
            asked = replace(side, workload=replace(workload, queue_depth=depth))
        return min(most, stream_floor(asked, used, alone))

    return floor


def _in_step(side: Side, used: Sequence[Demand], alone: float, depth: int) -> float:
    """Several streams may meet the same members at the same time, and stay in step: together
    they then keep no more members busy than one of them does."""
    if side.workload.access is Access.RANDOM or side.chunk_bytes is None:
        return inf
    one = replace(side.workload, queue_depth=max(1, depth // side.workload.streams))
    return stream_floor(replace(side, workload=one), used, alone)


def expectation_of(found: Bounds, assumptions: tuple[str, ...]) -> Expectation:
    """The band, the bottleneck at its ceiling, and every resource's use."""
    workload = found.workload
    ceiling = found.ceiling(workload.queue_depth)
    return Expectation(
        workload=workload,
        floor_bytes_per_second=found.floor(workload.queue_depth),
        ceiling_bytes_per_second=ceiling,
        bottleneck=bottleneck(found.used),
        depth_bound=ceiling < JOINT_BOTTLENECK_SHARE * found.most,
        uses=tuple(
            Use(
                resource=demand.resource,
                demand_seconds_per_byte=demand.seconds,
                utilisation=demand.seconds * ceiling + demand.taken,
            )
            for demand in found.used
        ),
        assumptions=assumptions,
    )


def bottleneck(demands: Sequence[Demand]) -> Resource:
    """The resource that allows least; of near equals, the one most members share."""
    least = min(demand.most for demand in demands)
    joint = [demand for demand in demands if demand.most * JOINT_BOTTLENECK_SHARE <= least]
    return (joint[0] if len(joint) == 1 else max(joint, key=_shared_by)).resource


def _shared_by(demand: Demand) -> tuple[int, float]:
    shared = 0 if demand.resource.kind is ResourceKind.PARITY else len(demand.resource.members)
    return shared, -demand.most
