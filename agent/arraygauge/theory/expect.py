"""The expectation of an array in the model's terms: loads, demands and bounds joined."""

from __future__ import annotations

from arraygauge.inventory.values import Level
from arraygauge.theory.bounds import Bounds, bounds, expectation_of
from arraygauge.theory.geometry import Geometry, is_sound
from arraygauge.theory.levels import level_loads
from arraygauge.theory.loads import Case, LevelLoads
from arraygauge.theory.network import Network
from arraygauge.theory.redundancy import data_is_complete
from arraygauge.theory.values import (
    Access,
    Direction,
    Expectation,
    Resource,
    ResourceKind,
    Source,
    Workload,
)
from arraygauge.values import frozen


@frozen
class MemberRate:
    """What one device moves by itself, bytes per second, and how that is known.

    ``write`` is None where it is not known: writes are then not expected at all.
    ``operation_seconds`` and ``latency_seconds`` as in ``Resource``.
    """

    read_bytes_per_second: float
    write_bytes_per_second: float | None
    source: Source
    operation_seconds: float = 0.0
    latency_seconds: float = 0.0


@frozen
class ArrayModel:
    """An array in the model's terms, real or on paper. ``given`` are assumptions beyond the
    level's own."""

    geometry: Geometry
    network: Network
    given: tuple[str, ...] = ()


def expect(model: ArrayModel, workload: Workload) -> Expectation | None:
    """The band of one workload; None where the array's data is incomplete, or its level is
    not one the model knows."""
    loads = _loads(model, workload)
    if loads is None:
        return None
    found = bounds(model.network, model.geometry, loads, workload, workload.queue_depth)
    return expectation_of(found, (*loads.assumptions, *model.given))


def depth_curve(model: ArrayModel, workload: Workload, deepest: int = 32) -> Bounds | None:
    """The band at every queue depth from 1 to ``deepest``, the workload's own ignored."""
    loads = _loads(model, workload)
    if loads is None:
        return None
    return bounds(model.network, model.geometry, loads, workload, deepest)


def _loads(model: ArrayModel, workload: Workload) -> LevelLoads | None:
    if not is_sound(model.geometry) or not data_is_complete(model.geometry):
        return None
    network = model.network
    apart = [link for link in network.shared if len(link.members) < len(network.members)]
    rates = tuple(_reach(model, member, apart, workload) for member in network.members)
    return level_loads(Case(geometry=model.geometry, workload=workload, rates=rates))


def member_resource(name: str, rate: MemberRate) -> Resource:
    """A member as a resource: it reads or writes, never both at once."""
    return Resource(
        name=name,
        kind=ResourceKind.MEMBER,
        read_bytes_per_second=rate.read_bytes_per_second,
        write_bytes_per_second=rate.write_bytes_per_second or rate.read_bytes_per_second,
        full_duplex=False,
        source=rate.source,
        members=(name,),
        operation_seconds=rate.operation_seconds,
        latency_seconds=rate.latency_seconds,
    )


def _reach(
    model: ArrayModel, member: Resource | None, apart: list[Resource], workload: Workload
) -> float:
    """What a member can deliver: its own rate, or its part of a link that it shares with some of
    the others. At unrelated places each piece costs it an operation."""
    if member is None:
        return 0.0
    direction = workload.direction
    own = _rate(member, direction)
    if workload.access is Access.RANDOM and member.operation_seconds:
        own = 1 / (1 / own + member.operation_seconds / _piece_bytes(model.geometry, workload))
    if not apart:
        return own
    parts = (
        _rate(link, direction) / len(link.members) for link in apart if member.name in link.members
    )
    return min([own, *parts])


def _piece_bytes(geometry: Geometry, workload: Workload) -> int:
    """A mirror reads a transfer in one piece, chunks at unrelated places are pieces each."""
    if geometry.level in (Level.LINEAR, Level.RAID1) or not geometry.chunk_bytes:
        return workload.transfer_bytes
    return min(geometry.chunk_bytes, workload.transfer_bytes)


def _rate(resource: Resource, direction: Direction) -> float:
    if direction is Direction.READ:
        return resource.read_bytes_per_second
    return resource.write_bytes_per_second
