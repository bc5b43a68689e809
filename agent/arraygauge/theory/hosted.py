"""The arrays and devices of a host in the model's terms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import inf
from typing import TypeGuard

from arraygauge.inventory.values import Array, BlockDevice, Host, Level, MemberState
from arraygauge.theory.activity import background_of
from arraygauge.theory.expect import ArrayModel, MemberRate, expect, member_resource
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.network import Network
from arraygauge.theory.paths import Board, parity_arithmetic, shared_links
from arraygauge.theory.shape import geometry_of
from arraygauge.theory.values import (
    Direction,
    Expectation,
    Resource,
    ResourceKind,
    Source,
    Workload,
)


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
    rates = {**nested_rates(host, array, rates, board, direction), **rates}
    members = _member_resources(array, geometry, rates, direction)
    if members is None:
        return None
    background = background_of(array, geometry)
    names = [member.name for member in members if member is not None]
    names += [name for name in background.most if name not in names]
    journal = _journal(array, rates, tuple(names)) if direction is Direction.WRITE else ()
    network = Network(
        members=members,
        shared=(*shared_links(host, names, board.uplinks), *journal),
        parity=parity_arithmetic(board, geometry.parity),
        background=background,
    )
    return ArrayModel(geometry=geometry, network=network, given=_given(array, direction))


def nested_rates(
    host: Host,
    array: Array,
    rates: Mapping[str, MemberRate],
    board: Board,
    direction: Direction,
) -> dict[str, MemberRate]:
    """For members that are arrays themselves and have no rate of their own: what the model
    expects of them, its floor."""
    others = replace(host, arrays=tuple(each for each in host.arrays if each.name != array.name))
    inner = [others.array(member.name) for member in array.members if member.name not in rates]
    workload = Workload(direction=direction, queue_depth=64)
    bands = {
        each.name: expect_array(others, each, rates, board, workload)
        for each in inner
        if each is not None
    }
    return {
        name: MemberRate(
            read_bytes_per_second=band.floor_bytes_per_second,
            write_bytes_per_second=band.floor_bytes_per_second,
            source=Source.MODELLED,
        )
        for name, band in bands.items()
        if band is not None
    }


def _journal(
    array: Array, rates: Mapping[str, MemberRate], names: tuple[str, ...]
) -> tuple[Resource, ...]:
    """A journal is written with everything the members are written with, and first."""
    return tuple(
        Resource(
            name=f"journal {member.name}",
            kind=ResourceKind.JOURNAL,
            read_bytes_per_second=inf,
            write_bytes_per_second=rate.write_bytes_per_second,
            full_duplex=True,
            source=rate.source,
            members=names,
        )
        for member in array.members
        if MemberState.JOURNAL in member.states
        and (rate := rates.get(member.name)) is not None
        and rate.write_bytes_per_second is not None
    )


def _given(array: Array, direction: Direction) -> tuple[str, ...]:
    if direction is Direction.READ:
        return ()
    given = []
    if array.bitmap is not None:
        given.append(
            "write-intent bitmap: the first write to a clean region waits for a write and a "
            "flush of its own, which are not in the figure"
        )
    if any(MemberState.JOURNAL in member.states for member in array.members):
        given.append("journal: every write goes to it first, as fast as its drive writes")
    return tuple(given)


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
