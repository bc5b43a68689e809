"""What to ask of each device, and which devices to leave alone. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from arraygauge.inventory.values import (
    Array,
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
            detail=f"{busy.name} is running a {busy.sync_action}, which probes would slow",
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
    """One sequential stream, deep enough to hold two whole stripes in flight; on mirrors a
    stream for each, since one alone would leave the others idle (raid1.c read_balance)."""
    geometry = geometry_of(host, array)
    serving = len(geometry.serving) if geometry is not None else 1
    mirrors = serving if array.level is Level.RAID1 else 1
    stripe_bytes = (array.chunk_bytes or 0) * serving
    depth = max(SEQUENTIAL_READ.queue_depth, ceil(2 * stripe_bytes / MIB), 4 * mirrors)
    return Workload(
        direction=Direction.READ, transfer_bytes=MIB, queue_depth=depth, streams=mirrors
    )


def _why_not_through_md(host: Host, array: Array) -> tuple[SkipReason, str] | None:
    gone = [member.name for member in array.members if not member.present]
    if not array.running:
        return SkipReason.NOT_RUNNING, f"{array.name} is not running ({array.state_text})"
    if is_syncing(array):
        return SkipReason.SYNC_RUNNING, f"{array.name} is running a {array.sync_action}"
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
    """The arrays that read and write this device, through partitions and stacks too."""
    reached, frontier = {device.name}, [device]
    while frontier:
        for name in frontier.pop().above:
            upper = host.device(name)
            if upper is not None and name not in reached:
                reached.add(name)
                frontier.append(upper)
    return tuple(array for array in host.arrays if array.name in reached)


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
