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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from arraygauge.inventory.values import Level
from arraygauge.theory.activity import IDLE, Background
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.loads import LevelLoads, Loads, MemberLoad
from arraygauge.theory.queueing import mean_value_analysis
from arraygauge.theory.values import Expectation, Resource, ResourceKind, Use, Workload

JOINT_BOTTLENECK_SHARE = 0.95
"""Resources within 5 % of the largest demand share the title: capacities that were
measured carry an error of that order. The most shared of them is named, because
adding a drive can relieve a member but never a link."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """The resources of one array: its members by slot (None = missing), the links they
    pass, and the processor's parity arithmetic where its rate is known. ``background``
    is what else the members move: a rebuild, for instance.
    """

    members: tuple[Resource | None, ...]
    shared: tuple[Resource, ...] = ()
    parity: Resource | None = None
    background: Background = IDLE


@dataclass(frozen=True, slots=True)
class _Demand:
    """One resource's seconds for a byte of user data, and its share already taken."""

    resource: Resource
    seconds: float
    taken: float

    @property
    def most(self) -> float:
        """Bytes of user data per second this resource alone would allow."""
        return (1 - self.taken) / self.seconds if self.seconds else float("inf")


def bound(
    network: Network, geometry: Geometry, loads: LevelLoads, workload: Workload
) -> Expectation:
    """The band, the bottleneck at its ceiling, and every resource's use.

    Raises ValueError when no resource carries any load.
    """
    run = contiguous_bytes(geometry, workload)
    at_ceiling = _demands(network, loads.ceiling, workload, run, network.background.least)
    limit = min(demand.most for demand in at_ceiling)
    lone = lone_seconds(network, geometry, loads.ceiling, workload, fastest=True)
    by_depth = workload.queue_depth * workload.transfer_bytes / lone
    ceiling = min(limit, by_depth)
    return Expectation(
        workload=workload,
        floor_bytes_per_second=min(ceiling, _floor(network, geometry, loads, workload)),
        ceiling_bytes_per_second=ceiling,
        bottleneck=_bottleneck(at_ceiling),
        depth_bound=by_depth < JOINT_BOTTLENECK_SHARE * limit,
        uses=tuple(
            Use(
                resource=demand.resource,
                demand_seconds_per_byte=demand.seconds,
                utilisation=demand.seconds * ceiling + demand.taken,
            )
            for demand in at_ceiling
        ),
        assumptions=loads.assumptions,
    )


def contiguous_bytes(geometry: Geometry, workload: Workload) -> float:
    """How much of one transfer lies in one piece on a member."""
    chunk = geometry.chunk_bytes
    if not chunk or geometry.level in (Level.LINEAR, Level.RAID1):
        return workload.transfer_bytes
    if workload.transfer_bytes <= chunk:
        return workload.transfer_bytes
    return max(chunk, workload.transfer_bytes / (geometry.slots - geometry.parity))


def lone_seconds(
    network: Network, geometry: Geometry, loads: Loads, workload: Workload, *, fastest: bool
) -> float:
    """How long one transfer takes with nothing else in flight, on the fastest or the slowest
    members: reads, if any, then writes, each as long as the largest part any member has."""
    part = _largest_part(geometry, workload)
    members = [member for member in network.members if member is not None]
    pick = max if fastest else min
    seconds = 0.0
    if any(load.read for load in loads.members):
        rate = pick(member.read_bytes_per_second for member in members)
        seconds += part / rate + _fixed_seconds(members, workload)
    if any(load.write for load in loads.members):
        rate = pick(member.write_bytes_per_second for member in members)
        seconds += part / rate + _fixed_seconds(members, workload)
    return seconds or 1e-12


def _largest_part(geometry: Geometry, workload: Workload) -> float:
    """Bytes of one transfer on the member that has most of it."""
    chunk = geometry.chunk_bytes
    if not chunk or geometry.level in (Level.LINEAR, Level.RAID1):
        return workload.transfer_bytes
    pieces = ceil(workload.transfer_bytes / chunk)
    return min(workload.transfer_bytes, chunk * ceil(pieces / geometry.slots))


def _fixed_seconds(members: Sequence[Resource], workload: Workload) -> float:
    latency = min(member.latency_seconds for member in members)
    if not workload.scattered:
        return latency
    return latency + min(member.operation_seconds for member in members)


def _floor(network: Network, geometry: Geometry, loads: LevelLoads, workload: Workload) -> float:
    run = contiguous_bytes(geometry, workload)
    demands = _demands(network, loads.floor, workload, run, network.background.most)
    if not workload.scattered:
        lone = lone_seconds(network, geometry, loads.floor, workload, fastest=False)
        by_depth = workload.queue_depth * workload.transfer_bytes / lone
        return min(by_depth, *(demand.most for demand in demands))
    seconds = [
        workload.transfer_bytes / demand.most for demand in demands if demand.most < float("inf")
    ]
    latency = max(member.latency_seconds for member in network.members if member is not None)
    phases = 1 + any(load.read and load.write for load in loads.floor.members)
    [*_, full] = mean_value_analysis(seconds, workload.queue_depth, phases * latency)
    return full.throughput_per_second * workload.transfer_bytes


def _demands(
    network: Network,
    loads: Loads,
    workload: Workload,
    run_bytes: float,
    background: Mapping[str, MemberLoad],
) -> list[_Demand]:
    """Every resource that the loads touch."""
    carried: dict[str, MemberLoad] = {}
    found: list[_Demand] = []
    for member, load in zip(network.members, loads.members, strict=True):
        if member is None:
            continue
        carried[member.name] = load
        seconds = service_demand(member, load.read, load.write)
        if workload.scattered:
            seconds += (load.read + load.write) / run_bytes * member.operation_seconds
        found.append(_Demand(member, seconds, _taken(background, member)))
    for link in network.shared:
        behind = [carried[name] for name in link.members if name in carried]
        read, write = sum(load.read for load in behind), sum(load.write for load in behind)
        found.append(_Demand(link, service_demand(link, read, write), _taken(background, link)))
    if network.parity is not None and loads.parity:
        found.append(
            _Demand(network.parity, service_demand(network.parity, loads.parity, 0.0), 0.0)
        )
    return found


def _taken(background: Mapping[str, MemberLoad], resource: Resource) -> float:
    """The share of a resource that background traffic takes, at most nearly all."""
    if not background:
        return 0.0
    moved = [background[name] for name in resource.members if name in background]
    read, write = sum(load.read for load in moved), sum(load.write for load in moved)
    return min(0.999, service_demand(resource, read, write))


def service_demand(resource: Resource, read: float, write: float) -> float:
    """Seconds to carry ``read`` and ``write`` bytes: at once if full duplex, else in turn."""
    read_seconds = read / resource.read_bytes_per_second if read else 0.0
    write_seconds = write / resource.write_bytes_per_second if write else 0.0
    if resource.full_duplex:
        return max(read_seconds, write_seconds)
    return read_seconds + write_seconds


def _bottleneck(demands: Sequence[_Demand]) -> Resource:
    """The resource that allows least; of near equals, the one most members share."""
    least = min(demand.most for demand in demands)
    joint = [demand for demand in demands if demand.most * JOINT_BOTTLENECK_SHARE <= least]
    return max(joint, key=_shared_by).resource


def _shared_by(demand: _Demand) -> tuple[int, float]:
    shared = 0 if demand.resource.kind is ResourceKind.PARITY else len(demand.resource.members)
    return shared, -demand.most
