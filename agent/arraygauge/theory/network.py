"""The resources of an array, and the service demand a byte of user data puts on each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import NamedTuple

from arraygauge.inventory.values import Level
from arraygauge.theory.activity import IDLE, Background
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.loads import Loads, MemberLoad
from arraygauge.theory.values import Direction, Resource, Workload
from arraygauge.values import frozen


@frozen
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
class Side:
    """One side of a band, floor or ceiling: what is asked of which network, with what loads.

    What follows from them is asked for many times over in one expectation, so it is kept.
    """

    network: Network
    geometry: Geometry
    loads: Loads
    workload: Workload
    members: list[Resource] = field(init=False)
    """Those that are there."""
    reads: bool = field(init=False)
    writes: bool = field(init=False)
    reads_before_writing: bool = field(init=False)
    chunk_bytes: int | None = field(init=False)
    """None for levels that are not cut into chunks around their members."""

    def __post_init__(self) -> None:
        reads = writes = both = False
        for load in self.loads.members:
            reads = reads or load.read > 0
            writes = writes or load.write > 0
            both = both or (load.read > 0 and load.write > 0)
        uncut = self.geometry.level in (Level.LINEAR, Level.RAID1)
        keep = object.__setattr__
        keep(self, "members", [member for member in self.network.members if member is not None])
        keep(self, "reads", reads)
        keep(self, "writes", writes)
        keep(self, "reads_before_writing", both)
        keep(self, "chunk_bytes", None if uncut else self.geometry.chunk_bytes or None)

    def rate(self, member: Resource) -> float:
        """Bytes per second in the asked direction."""
        if self.workload.direction is Direction.READ:
            return member.read_bytes_per_second
        return member.write_bytes_per_second

    @property
    def window_bytes(self) -> int:
        """What is in flight."""
        return self.workload.queue_depth * self.workload.transfer_bytes


class Demand(NamedTuple):
    """One resource's seconds for a byte of user data, and its share already taken.

    ``passing`` are the seconds one byte's own way takes, which reads before it writes: longer
    than ``seconds`` where a resource carries both ways at once for different transfers.
    """

    resource: Resource
    seconds: float
    taken: float
    passing: float

    @property
    def most(self) -> float:
        """Bytes of user data per second this resource alone would allow."""
        return (1 - self.taken) / self.seconds if self.seconds else inf


def demands(
    network: Network,
    loads: Loads,
    run_bytes: float,
    background: Mapping[str, MemberLoad],
) -> list[Demand]:
    """Every resource that the loads touch. Each ``run_bytes`` a member moves cost it an
    operation besides; infinity where it moves on without one."""
    carried: dict[str, MemberLoad] = {}
    found: list[Demand] = []
    for member, load in zip(network.members, loads.members, strict=True):
        if member is None:
            continue
        carried[member.name] = load
        seconds = service_demand(member, load.read, load.write)
        if load.moves or load.passed:
            seconds += jump_seconds(member, load)
        if member.operation_seconds:
            seconds += (load.read + load.write) / run_bytes * member.operation_seconds
        found.append(Demand(member, seconds, _taken(background, member), seconds))
    for link in network.shared:
        read, write = moved_behind(link, carried)
        passing = service_demand(link, read, 0.0) + service_demand(link, 0.0, write)
        seconds = service_demand(link, read, write)
        found.append(Demand(link, seconds, _taken(background, link), passing))
    if network.parity is not None and loads.parity:
        seconds = service_demand(network.parity, loads.parity, 0.0)
        found.append(Demand(network.parity, seconds, 0.0, seconds))
    return found


def _taken(background: Mapping[str, MemberLoad], resource: Resource) -> float:
    """The share of a resource that background traffic takes, at most nearly all."""
    if not background:
        return 0.0
    return min(0.999, service_demand(resource, *moved_behind(resource, background)))


def moved_behind(resource: Resource, loads: Mapping[str, MemberLoad]) -> tuple[float, float]:
    """What a resource's members read and write of these loads by member name."""
    read = write = 0.0
    for name in resource.members:
        load = loads.get(name)
        if load is not None:
            read += load.read
            write += load.write
    return read, write


def jump_seconds(member: Resource, load: MemberLoad) -> float:
    """For each byte of user data, what going on elsewhere costs: over a gap the shorter of an
    operation and the time it takes to pass, or, where an operation's time is not known, the
    latter."""
    moving = load.jumps * member.operation_seconds
    passing = load.passed / member.read_bytes_per_second
    return load.moves * member.operation_seconds + (min(moving, passing) if moving else passing)


def most_jumping(side: Side) -> float:
    """Seconds that jumps cost the member they cost most, for each byte of user data."""
    pairs = zip(side.network.members, side.loads.members, strict=True)
    return max(jump_seconds(member, load) for member, load in pairs if member is not None)


def service_demand(resource: Resource, read: float, write: float) -> float:
    """Seconds to carry ``read`` and ``write`` bytes: at once if full duplex, else in turn."""
    read_seconds = read / resource.read_bytes_per_second if read else 0.0
    write_seconds = write / resource.write_bytes_per_second if write else 0.0
    if resource.full_duplex:
        return max(read_seconds, write_seconds)
    return read_seconds + write_seconds
