"""From loads and capacities to a band of rates: the asymptotic bound.

Operational analysis: one byte of user data asks each resource i for D_i seconds;
no arrangement of queues lets the array run faster than 1 / max(D_i). The
resource with the largest demand is the bottleneck (Jain, The Art of Computer
Systems Performance Analysis, 1991, box 33.1: X <= min(1/D_max, N/(D+Z))).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arraygauge.theory.loads import LevelLoads, Loads
from arraygauge.theory.values import Expectation, Resource, Use, Workload

JOINT_BOTTLENECK_SHARE = 0.95
"""Resources within 5 % of the largest demand share the title: capacities that were
measured carry an error of that order. The most shared of them is named, because
adding a drive can relieve a member but never a link."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """The resources of one array: its members by slot (None = missing) and the links they pass."""

    members: tuple[Resource | None, ...]
    shared: tuple[Resource, ...]


def bound(network: Network, loads: LevelLoads, workload: Workload) -> Expectation:
    """The band, the bottleneck at its ceiling, and every resource's use.

    Raises ValueError when no resource carries any load.
    """
    at_ceiling = demands(network, loads.ceiling)
    at_floor = demands(network, loads.floor)
    ceiling = 1 / max(demand for _, demand in at_ceiling)
    floor = min(ceiling, 1 / max(demand for _, demand in at_floor))
    return Expectation(
        workload=workload,
        floor_bytes_per_second=floor,
        ceiling_bytes_per_second=ceiling,
        bottleneck=bottleneck(at_ceiling),
        uses=tuple(
            Use(resource=resource, demand_seconds_per_byte=demand, utilisation=demand * ceiling)
            for resource, demand in at_ceiling
        ),
        assumptions=loads.assumptions,
    )


def demands(network: Network, loads: Loads) -> list[tuple[Resource, float]]:
    """Seconds of each resource for a byte of user data."""
    carried = {
        member.name: load
        for member, load in zip(network.members, loads, strict=True)
        if member is not None
    }
    everything = [member for member in network.members if member is not None]
    everything.extend(network.shared)
    return [
        (
            resource,
            service_demand(
                resource,
                sum(carried[name].read for name in resource.members),
                sum(carried[name].write for name in resource.members),
            ),
        )
        for resource in everything
    ]


def service_demand(resource: Resource, read: float, write: float) -> float:
    """Seconds to carry ``read`` and ``write`` bytes: at once if full duplex, else in turn."""
    read_seconds = read / resource.read_bytes_per_second if read else 0.0
    write_seconds = write / resource.write_bytes_per_second if write else 0.0
    if resource.full_duplex:
        return max(read_seconds, write_seconds)
    return read_seconds + write_seconds


def bottleneck(used: Sequence[tuple[Resource, float]]) -> Resource:
    """The resource with the largest demand; of near equals, the one most members share."""
    largest = max(demand for _, demand in used)
    joint = [pair for pair in used if pair[1] >= JOINT_BOTTLENECK_SHARE * largest]
    return max(joint, key=lambda pair: (len(pair[0].members), pair[1]))[0]
