"""The expectation of one array or one device on this host: every piece of the model joined."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import TypeGuard

from arraygauge.inventory.values import Array, BlockDevice, Host, Level
from arraygauge.theory.activity import background_of
from arraygauge.theory.bounds import Bounds, bounds, expectation_of
from arraygauge.theory.geometry import Geometry, is_sound
from arraygauge.theory.levels import level_loads
from arraygauge.theory.loads import Case, LevelLoads
from arraygauge.theory.network import Network
from arraygauge.theory.paths import Board, parity_arithmetic, shared_links
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
    ``operation_seconds`` and ``latency_seconds`` as in ``Resource``.
    """

    read_bytes_per_second: float
    write_bytes_per_second: float | None
    source: Source
    operation_seconds: float = 0.0
    latency_seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrayModel:
    """An array in the model's terms, real or on paper."""

    geometry: Geometry
    network: Network


def expect(model: ArrayModel, workload: Workload) -> Expectation | None:
    """The band of one workload; None where the array's data is incomplete, or its level is
    not one the model knows."""
    loads = _loads(model, workload)
    if loads is None:
        return None
    found = bounds(model.network, model.geometry, loads, workload, workload.queue_depth)
    return expectation_of(found, loads.assumptions)


def depth_curve(model: ArrayModel, workload: Workload, deepest: int = 32) -> Bounds | None:
    """The band at every queue depth from 1 to ``deepest``, the workload's own ignored."""
    loads = _loads(model, workload)
    if loads is None:
        return None
    return bounds(model.network, model.geometry, loads, workload, deepest)


def _loads(model: ArrayModel, workload: Workload) -> LevelLoads | None:
    if not is_sound(model.geometry) or not data_is_complete(model.geometry):
        return None
    rates = tuple(_rate(member, workload.direction) for member in model.network.members)
    return level_loads(Case(geometry=model.geometry, workload=workload, rates=rates))


def model_array(
    host: Host,
    array: Array,
    rates: Mapping[str, MemberRate],
    board: Board,
    direction: Direction,
) -> ArrayModel | None:
    """A running array in its present health and activity, or None where the rate of a
    serving member in that direction is not known."""
    geometry = geometry_of(host, array)
    if geometry is None:
        return None
    members = _member_resources(array, geometry, rates, direction)
    if members is None:
        return None
    background = background_of(array, geometry)
    names = [member.name for member in members if member is not None]
    names += [name for name in background.most if name not in names]
    network = Network(
        members=members,
        shared=shared_links(host, names, board.uplinks),
        parity=parity_arithmetic(board, geometry.parity),
        background=background,
    )
    return ArrayModel(geometry=geometry, network=network)


def expect_array(
    host: Host,
    array: Array,
    rates: Mapping[str, MemberRate],
    board: Board,
    workload: Workload,
) -> Expectation | None:
    """``expect`` of ``model_array``."""
    model = model_array(host, array, rates, board, workload.direction)
    return expect(model, workload) if model is not None else None


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
        if not _is_known(rate, direction):
            return None
        members.append(member_resource(member.name, rate))
    return tuple(members)


def _is_known(rate: MemberRate | None, direction: Direction) -> TypeGuard[MemberRate]:
    if rate is None:
        return False
    return direction is Direction.READ or rate.write_bytes_per_second is not None


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


def _rate(member: Resource | None, direction: Direction) -> float:
    if member is None:
        return 0.0
    if direction is Direction.READ:
        return member.read_bytes_per_second
    return member.write_bytes_per_second


_ALONE = Geometry(level=Level.LINEAR, slots=1)
"""A single drive: a linear array of one."""
_UNBOUNDED = MemberRate(
    read_bytes_per_second=inf, write_bytes_per_second=inf, source=Source.ASSUMED
)
"""Stands for a drive whose own rate is not known: it never binds."""


def expect_device(
    host: Host,
    device: BlockDevice,
    rate: MemberRate | None,
    board: Board,
    workload: Workload,
) -> Expectation | None:
    """The band for one device by itself: its own rate if that is known, and every link
    on its way to the CPU. None when neither is known."""
    links = shared_links(host, [device.name], board.uplinks)
    known = rate if _is_known(rate, workload.direction) else None
    if known is None and not links:
        return None
    own = member_resource(device.name, known or _UNBOUNDED)
    network = Network(members=(own,), shared=links)
    return expect(ArrayModel(geometry=_ALONE, network=network), workload)
