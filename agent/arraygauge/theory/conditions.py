"""An array's model as it is, whole, with a member fewer, and while that is rebuilt.

Between the last two lies the kernel's choice: a rebuild slows to sync_speed_min as soon as
somebody else wants the drives, but how readily cannot be known from outside. So the ceiling is
with the rebuild at its minimum, the floor with it at its maximum (``activity.py``).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from enum import StrEnum
from math import isfinite, log

from arraygauge.theory.activity import (
    IDLE,
    LEAST_SYNC_BYTES_PER_SECOND,
    MOST_SYNC_BYTES_PER_SECOND,
    Background,
)
from arraygauge.theory.capacity import Capacity
from arraygauge.theory.expect import ArrayModel
from arraygauge.theory.geometry import Geometry, rows
from arraygauge.theory.loads import Loads, MemberLoad
from arraygauge.theory.redundancy import data_is_complete
from arraygauge.theory.sync_loads import recovery
from arraygauge.theory.values import Resource
from arraygauge.units import SECTOR_BYTES

POSITIONING_SECONDS = 0.012
"""What a hard disk takes to reach another place, where that was not measured: half a turn at
7200 a minute and a usual seek (common practice, no published source)."""
_ONE_SECTOR = Capacity(usable_bytes=0, used_bytes=(SECTOR_BYTES,), member_bytes=(SECTOR_BYTES,))
"""Stands for a capacity where only a rebuild's loads are asked for, not how long it takes."""


_ALIKE = 0.03
"""Rates of that share of each other are alike: members of one model are within 3 to 5 % (common
practice, no published source)."""


class Condition(StrEnum):
    """How an array fares."""

    HEALTHY = "healthy"
    DEGRADED = "degraded"
    REBUILDING = "rebuilding"


def condition_of(model: ArrayModel) -> Condition:
    """That of an array as it stands; one that only checks itself is healthy."""
    if not model.geometry.missing:
        return Condition.HEALTHY
    rebuilds = model.network.background is not IDLE and bool(model.network.background.most)
    return Condition.REBUILDING if rebuilds else Condition.DEGRADED


def in_condition(model: ArrayModel, wanted: Condition) -> tuple[ArrayModel, ...]:
    """The array in that condition: as it stands if it is in it, else every way it can be.

    Healthy, missing members are taken to be like the slowest of the others; degraded, one more
    is missing where none is. Empty where the level does not survive that.
    """
    if condition_of(model) is wanted and wanted is not Condition.HEALTHY:
        return (model,)
    calm = replace(model, network=replace(model.network, background=IDLE))
    if wanted is Condition.HEALTHY:
        return (_whole(calm),)
    degraded = (calm,) if model.geometry.missing else tuple(_each_one_fewer(calm))
    if wanted is Condition.DEGRADED:
        return degraded
    return tuple(again for each in degraded if (again := _rebuilding(each, model)) is not None)


def with_heads(model: ArrayModel, heads: frozenset[str]) -> ArrayModel:
    """Members with heads to move take ``POSITIONING_SECONDS`` to move them, where it is not
    known how long."""
    members = tuple(
        replace(member, operation_seconds=POSITIONING_SECONDS)
        if member is not None and member.name in heads and not member.operation_seconds
        else member
        for member in model.network.members
    )
    return replace(model, network=replace(model.network, members=members))


def _whole(model: ArrayModel) -> ArrayModel:
    if not model.geometry.missing:
        return model
    geometry = replace(model.geometry, missing=frozenset())
    like = _slowest(model)
    members = tuple(
        _another(like, slot) if member is None else member
        for slot, member in enumerate(model.network.members)
    )
    return replace(model, geometry=geometry, network=replace(model.network, members=members))


def _slowest(model: ArrayModel) -> Resource:
    serving = (member for member in model.network.members if member is not None)
    return min(serving, key=lambda member: member.read_bytes_per_second)


def _another(like: Resource, slot: int) -> Resource:
    name = _new_name(slot)
    return replace(like, name=name, members=(name,))


def _new_name(slot: int) -> str:
    return f"new member {slot}"


def _each_one_fewer(model: ArrayModel) -> Iterator[ArrayModel]:
    """Of members that are alike in rate and links, one: which of them is lost makes little
    difference, unless the level has fixed places for parity."""
    seen: set[tuple[object, ...]] = set()
    for slot in model.geometry.serving:
        kind = _kind(model, slot)
        if kind in seen:
            continue
        seen.add(kind)
        geometry = replace(model.geometry, missing=model.geometry.missing | {slot})
        if not data_is_complete(geometry):
            continue
        members = tuple(
            None if index == slot else member for index, member in enumerate(model.network.members)
        )
        yield replace(model, geometry=geometry, network=replace(model.network, members=members))


def _kind(model: ArrayModel, slot: int) -> tuple[object, ...]:
    """What a member has in common with others that are as good as it."""
    member, geometry = model.network.members[slot], model.geometry
    if member is None or (geometry.parity and not _rotates(geometry)):
        return (slot,)
    own = member.read_bytes_per_second
    rate = round(log(own) / _ALIKE) if own > 0 and isfinite(own) else own
    links = (link.name for link in model.network.shared if member.name in link.members)
    return rate, member.operation_seconds, slot in geometry.write_mostly, *links


def _rotates(geometry: Geometry) -> bool:
    """Whether every member has its share of the parity."""
    found = rows(geometry.level, geometry.slots, geometry.layout)
    return {slot for row in found for slot in row.parity} == set(range(geometry.slots))


def _rebuilding(degraded: ArrayModel, before: ArrayModel) -> ArrayModel | None:
    """The first missing slot's new member is filled, on the way its predecessor had."""
    geometry = degraded.geometry
    slot = min(geometry.missing)
    work = recovery(geometry, _ONE_SECTOR, slot)
    if work is None:
        return None
    names = [
        member.name if member is not None else _new_name(index)
        for index, member in enumerate(before.network.members)
    ]
    background = Background(
        least=_moved(names, work.loads.ceiling, LEAST_SYNC_BYTES_PER_SECOND),
        most=_moved(names, work.loads.floor, MOST_SYNC_BYTES_PER_SECOND),
    )
    return replace(degraded, network=replace(degraded.network, background=background))


def _moved(names: list[str], loads: Loads, rate: float) -> dict[str, MemberLoad]:
    return {
        name: MemberLoad(read=load.read * rate, write=load.write * rate)
        for name, load in zip(names, loads.members, strict=True)
    }
