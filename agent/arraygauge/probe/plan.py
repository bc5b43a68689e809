"""What to ask of each device, and which devices to leave alone. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
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
from arraygauge.probe.places import spread_extents
from arraygauge.probe.values import ProbeRequest, Route, Skipped, SkipReason
from arraygauge.theory import SEQUENTIAL_READ, Direction, Workload, survivable
from arraygauge.theory.shape import geometry_of
from arraygauge.theory.streams import ROUNDS_IN_FLIGHT
from arraygauge.units import MIB

_AT_REST = (None, SyncAction.IDLE, SyncAction.FROZEN)
_REDUNDANT = (Level.RAID1, Level.RAID4, Level.RAID5, Level.RAID6, Level.RAID10)


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstLimits:
    """How much one device may be asked for in one pass.

    ``seconds`` of reading in all, in ``places`` equal parts, each beginning with
    ``warm_up_seconds`` that are not counted; never more than ``max_bytes``.
    """

    seconds: float = 2.4
    warm_up_seconds: float = 0.3
    places: int = 3
    max_bytes: int = 2048 * MIB
    grace_seconds: float = 8.0
    """Beyond ``seconds``, how long the child may live before it counts as hung."""


def plan_device(host: Host, device: BlockDevice, limits: BurstLimits) -> ProbeRequest | Skipped:
    """A raw read of one drive or partition; skipped while an array on it synchronises,
    because reads of members slow a rebuild. A member that is an array is read as one."""
    nested = host.array(device.name)
    if nested is not None:
        return plan_array(host, nested, limits)
    busy = next((array for array in arrays_on(host, device) if is_syncing(array)), None)
    if busy is not None:
        return Skipped(
            device=device.name,
            reason=SkipReason.SYNC_RUNNING,
            detail=f"{busy.name} is busy with a {busy.sync_action}, which probes would slow",
        )
    return _raw_request(device, SEQUENTIAL_READ, limits)


def plan_array(host: Host, array: Array, limits: BurstLimits) -> ProbeRequest | Skipped:
    """A read through md, where even a failing read cannot cost the array a member."""
    device = host.device(array.name)
    refusal = _why_not_through_md(host, array)
    if refusal is not None or device is None:
        reason, detail = refusal or (SkipReason.NOT_RUNNING, f"{array.name} has no block device")
        return Skipped(device=array.name, reason=reason, detail=detail)
    return _raw_request(device, array_workload(host, array), limits)


def array_workload(host: Host, array: Array) -> Workload:
    """One sequential stream, deep enough to go round the members several times; on mirrors a
    stream for each, since one alone would leave the others idle (raid1.c read_balance)."""
    geometry = geometry_of(host, array)
    serving = len(geometry.serving) if geometry is not None else 1
    mirrors = serving if array.level is Level.RAID1 else 1
    stripe_bytes = (array.chunk_bytes or 0) * serving
    depth = max(
        SEQUENTIAL_READ.queue_depth, ceil(ROUNDS_IN_FLIGHT * stripe_bytes / MIB), 4 * mirrors
    )
    return Workload(
        direction=Direction.READ, transfer_bytes=MIB, queue_depth=depth, streams=mirrors
    )


Why = tuple[SkipReason, str]


def _why_not_through_md(host: Host, array: Array) -> Why | None:
    """The array's own reason, or that of an array it is made of."""
    return _own_reason(host, array) or next(
        (reason for inner in arrays_below(host, array) if (reason := _own_reason(host, inner))),
        None,
    )


def _own_reason(host: Host, array: Array) -> Why | None:
    gone = [member.name for member in array.members if not member.present]
    if not array.running or array.state is ArrayState.SUSPENDED:
        state = array.state_text or "its state cannot be read"
        return SkipReason.NOT_RUNNING, f"{array.name} is not running ({state})"
    if is_syncing(array):
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
    return array.sync_action not in _AT_REST


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


def _raw_request(
    device: BlockDevice, workload: Workload, limits: BurstLimits
) -> ProbeRequest | Skipped:
    return request_for(
        device=device.name,
        route=Route.RAW,
        path=device.node,
        number=device.number,
        size_bytes=device.size_bytes or 0,
        workload=workload,
        limits=limits,
    )


def request_for(
    *,
    device: str,
    route: Route,
    path: str,
    number: tuple[int, int] | None,
    size_bytes: int,
    workload: Workload,
    limits: BurstLimits,
) -> ProbeRequest | Skipped:
    """A burst over the usual places of something of ``size_bytes``."""
    extents = spread_extents(size_bytes, workload.transfer_bytes, limits.places)
    if not extents:
        return Skipped(
            device=device,
            reason=SkipReason.TOO_SMALL,
            detail=f"{path} holds {size_bytes} bytes, less than one transfer",
        )
    return ProbeRequest(
        device=device,
        route=route,
        path=path,
        number=number,
        workload=workload,
        extents=extents,
        warm_up_seconds=limits.warm_up_seconds,
        seconds=limits.seconds,
        max_bytes=limits.max_bytes,
        deadline_seconds=limits.seconds + limits.grace_seconds,
    )
