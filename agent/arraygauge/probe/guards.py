"""Which devices must be left alone, whoever asks. Pure."""

from __future__ import annotations

from typing import Literal

from arraygauge.inventory.values import (
    Array,
    ArrayState,
    BlockDevice,
    Host,
    Level,
    MemberState,
    SyncAction,
)
from arraygauge.probe.values import SkipReason
from arraygauge.theory import survivable
from arraygauge.theory.shape import geometry_of

AT_REST = (None, SyncAction.IDLE, SyncAction.FROZEN)
_REDUNDANT = (Level.RAID1, Level.RAID4, Level.RAID5, Level.RAID6, Level.RAID10)

Why = tuple[SkipReason, str]


def why_not_through_md(host: Host, array: Array, *, while_syncing: bool) -> Why | None:
    """The array's own reason not to be read, or that of an array it is made of."""
    return next(
        (
            reason
            for each in (array, *arrays_below(host, array))
            if (reason := _own_reason(host, each, while_syncing=while_syncing))
        ),
        None,
    )


def _own_reason(host: Host, array: Array, *, while_syncing: bool) -> Why | None:
    gone = [member.name for member in array.members if not member.present]
    if not array.running or array.state is ArrayState.SUSPENDED:
        state = array.state_text or "its state cannot be read"
        return SkipReason.NOT_RUNNING, f"{array.name} is not running ({state})"
    if is_syncing(array) and not while_syncing:
        return SkipReason.SYNC_RUNNING, f"{array.name} is busy with a {array.sync_action}"
    if gone and array.level not in _REDUNDANT:
        return SkipReason.MEMBER_GONE, f"{', '.join(gone)} of {array.name} is gone"
    if any(MemberState.FAILFAST in member.states for member in array.members):
        return (
            SkipReason.FAILFAST,
            f"{array.name} has failfast members: one failing read would drop a member",
        )
    geometry = geometry_of(host, array)
    if geometry is None:
        return SkipReason.UNKNOWN_SHAPE, f"{array.name} has a level or layout not known here"
    if array.level in _REDUNDANT and not survivable(geometry).guaranteed:
        return (
            SkipReason.NO_REDUNDANCY_LEFT,
            f"{array.name} has no redundancy left: a failing read could stop the array",
        )
    return None


def is_syncing(array: Array) -> bool:
    return array.sync_action not in AT_REST


def arrays_on(host: Host, device: BlockDevice) -> tuple[Array, ...]:
    """The arrays that use any of the disks below this device, through partitions and stacks:
    a rebuild on one partition is slowed by reads of another."""
    disks = [name for name in _reach(host, device.name, "below") if _is_bottom(host, name)]
    reached = {name for disk in disks for name in _reach(host, disk, "above")}
    return tuple(array for array in host.arrays if array.name in reached)


def arrays_below(host: Host, array: Array) -> tuple[Array, ...]:
    """The arrays this one is made of, directly or through mapped devices and partitions."""
    reached = _reach(host, array.name, "below")
    return tuple(each for each in host.arrays if each.name in reached and each.name != array.name)


def _is_bottom(host: Host, name: str) -> bool:
    device = host.device(name)
    return device is not None and not device.below


def _reach(host: Host, start: str, way: Literal["below", "above"]) -> set[str]:
    """Every device from ``start`` on in one direction, itself included."""
    reached, frontier = {start}, [start]
    while frontier:
        device = host.device(frontier.pop())
        further = (device.below if way == "below" else device.above) if device else ()
        frontier.extend(name for name in further if name not in reached)
        reached.update(further)
    return reached
