"""The expectation of one array or one device on this host: every piece of the model joined."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from arraygauge.inventory.values import Array, BlockDevice, Host, Level
from arraygauge.theory.bounds import Network, bound
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.levels import level_loads
from arraygauge.theory.loads import Case, LevelLoads, MemberLoad
from arraygauge.theory.paths import Uplink, shared_links
from arraygauge.theory.redundancy import data_is_complete
from arraygauge.theory.shape import geometry_of
from arraygauge.theory.values import (
    Direction,
    Expectation,
    Resource,
    ResourceKind,
    Source,
    Workload,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberRate:
    """What one device moves by itself, bytes per second, and how that is known.

    ``write`` is None where it is not known: writes are then not expected at all.
    """

    read_bytes_per_second: float
    write_bytes_per_second: float | None
    source: Source


def expect_array(
    host: Host,
    array: Array,
    rates: Mapping[str, MemberRate],
    uplinks: tuple[Uplink, ...],
    workload: Workload,
) -> Expectation | None:
    """The band for a running array, or None where a member's rate is not known, the
    level is not one the model knows, or too few members are left to serve data."""
    geometry = geometry_of(host, array)
    members = _member_resources(array, geometry, rates, workload.direction)
    if members is None or array.level is Level.UNKNOWN or not data_is_complete(geometry):
        return None
    names = [member.name for member in members if member is not None]
    network = Network(members=members, shared=shared_links(host, names, uplinks))
    slot_rates = tuple(_rate(member, workload.direction) for member in members)
    case = Case(geometry=geometry, workload=workload, rates=slot_rates)
    return bound(network, level_loads(case), workload)


def _member_resources(
    array: Array, geometry: Geometry, rates: Mapping[str, MemberRate], direction: Direction
) -> tuple[Resource | None, ...] | None:
    members: list[Resource | None] = []
    for slot in range(geometry.slots):
        member = array.member_in_slot(slot)
        if slot in geometry.missing or member is None:
            members.append(None)
            continue
        rate = rates.get(member.name)
        if rate is None or (direction is Direction.WRITE and rate.write_bytes_per_second is None):
            return None
        members.append(member_resource(member.name, rate))
    return tuple(members)


def member_resource(name: str, rate: MemberRate) -> Resource:
    return Resource(
        name=name,
        kind=ResourceKind.MEMBER,
        read_bytes_per_second=rate.read_bytes_per_second,
        write_bytes_per_second=rate.write_bytes_per_second or rate.read_bytes_per_second,
        full_duplex=False,
        source=rate.source,
        members=(name,),
    )


def _rate(member: Resource | None, direction: Direction) -> float:
    if member is None:
        return 0.0
    if direction is Direction.READ:
        return member.read_bytes_per_second
    return member.write_bytes_per_second


def expect_device(
    host: Host,
    device: BlockDevice,
    rate: MemberRate | None,
    uplinks: tuple[Uplink, ...],
    workload: Workload,
) -> Expectation | None:
    """The band for one device by itself: its rated rate if there is one, and every link
    on its way to the CPU. None when neither is known."""
    links = shared_links(host, [device.name], uplinks)
    known = rate is not None and (
        workload.direction is Direction.READ or rate.write_bytes_per_second is not None
    )
    if not known and not links:
        return None
    own = member_resource(device.name, rate) if rate is not None and known else None
    read = workload.direction is Direction.READ
    loads = (MemberLoad(read=float(read), write=float(not read)),)
    whole = LevelLoads(floor=loads, ceiling=loads)
    if own is not None:
        return bound(Network(members=(own,), shared=links), whole, workload)
    return bound(Network(members=(_unbounded(device.name),), shared=links), whole, workload)


def _unbounded(name: str) -> Resource:
    """Stands for a drive whose own rate is not known: it never binds."""
    infinite = MemberRate(
        read_bytes_per_second=float("inf"),
        write_bytes_per_second=float("inf"),
        source=Source.ASSUMED,
    )
    return member_resource(name, infinite)
