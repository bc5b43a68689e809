"""From loads and capacities to a band of rates.

Operational analysis: one byte of user data asks each resource i for D_i seconds;
no arrangement of queues lets the array run faster than 1 / max(D_i), nor, with N
transfers of T bytes in flight, faster than N * T over the time a lone transfer takes
(Jain, The Art of Computer Systems Performance Analysis, 1991, box 33.1). The
resource with the largest demand is the bottleneck. That is the ceiling.

The floor is the same for one sequential stream, whose chunks go round the members in
turn. Transfers to unrelated places meet by chance in the queues: their floor is the
exact mean value of a network whose service times vary as much as waiting lines'
theory assumes, which real drives, being steadier, stay above.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from arraygauge.theory.geometry import Geometry
from arraygauge.theory.loads import LevelLoads
from arraygauge.theory.lone import contiguous_bytes, lone_seconds
from arraygauge.theory.network import Demand, Network, demands
from arraygauge.theory.queueing import mean_value_analysis
from arraygauge.theory.values import Expectation, Resource, ResourceKind, Use, Workload

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
    floors: tuple[float, ...]
    """Bytes per second with 1, 2, … transfers in flight, at the floor."""

    def ceiling(self, depth: int) -> float:
        return min(self.most, depth * self.lone)

    def floor(self, depth: int) -> float:
        return min(self.ceiling(depth), self.floors[depth - 1])


def bounds(
    network: Network, geometry: Geometry, loads: LevelLoads, workload: Workload, deepest: int
) -> Bounds:
    """Raises ValueError when no resource carries any load."""
    run = contiguous_bytes(geometry, workload)
    used = demands(network, loads.ceiling, workload, run, network.background.least)
    lone = lone_seconds(network, geometry, loads.ceiling, workload, fastest=True)
    return Bounds(
        workload=workload,
        used=tuple(used),
        most=min(demand.most for demand in used),
        lone=workload.transfer_bytes / lone,
        floors=_floors(network, geometry, loads, workload, deepest),
    )


def _floors(
    network: Network, geometry: Geometry, loads: LevelLoads, workload: Workload, deepest: int
) -> tuple[float, ...]:
    run = contiguous_bytes(geometry, workload)
    used = demands(network, loads.floor, workload, run, network.background.most)
    if not workload.scattered:
        most = min(demand.most for demand in used)
        lone = lone_seconds(network, geometry, loads.floor, workload, fastest=False)
        each = workload.transfer_bytes / lone
        return tuple(min(most, depth * each) for depth in range(1, deepest + 1))
    seconds = [workload.transfer_bytes / demand.most for demand in used if demand.most < inf]
    latency = max(member.latency_seconds for member in network.members if member is not None)
    phases = 1 + any(load.read and load.write for load in loads.floor.members)
    points = mean_value_analysis(seconds, deepest, phases * latency)
    return tuple(point.throughput_per_second * workload.transfer_bytes for point in points)


def expectation_of(found: Bounds, assumptions: tuple[str, ...]) -> Expectation:
    """The band, the bottleneck at its ceiling, and every resource's use."""
    workload = found.workload
    ceiling = found.ceiling(workload.queue_depth)
    return Expectation(
        workload=workload,
        floor_bytes_per_second=found.floor(workload.queue_depth),
        ceiling_bytes_per_second=ceiling,
        bottleneck=_bottleneck(found.used),
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


def _bottleneck(demands: Sequence[Demand]) -> Resource:
    """The resource that allows least; of near equals, the one most members share."""
    least = min(demand.most for demand in demands)
    joint = [demand for demand in demands if demand.most * JOINT_BOTTLENECK_SHARE <= least]
    return max(joint, key=_shared_by).resource


def _shared_by(demand: Demand) -> tuple[int, float]:
    shared = 0 if demand.resource.kind is ResourceKind.PARITY else len(demand.resource.members)
    return shared, -demand.most
