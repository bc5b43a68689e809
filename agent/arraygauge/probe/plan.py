"""What to ask of each device, and which devices to leave alone. Pure."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

from arraygauge.inventory.values import Array, BlockDevice, DeviceNumber, Host, Level, Link
from arraygauge.probe.guards import arrays_on, is_syncing, why_not_through_md
from arraygauge.probe.values import Route, Skipped, SkipReason
from arraygauge.probe.watch import Watch, watch_for
from arraygauge.theory import SEQUENTIAL_READ, Direction, Uplink, Workload
from arraygauge.theory.links import data_bytes_per_second
from arraygauge.theory.shape import geometry_of
from arraygauge.theory.streams import ROUNDS_IN_FLIGHT
from arraygauge.units import MIB
from arraygauge.values import frozen

HOTTEST_TURNING, HOTTEST_SOLID_STATE = 55.0, 70.0
"""Degrees Celsius above which a drive is left to cool. Common practice, no published source:
disks are commonly rated to 60, and solid-state drives begin to throttle from about 70 on."""
DEPTH_TURNING, DEPTH_UNKNOWN = 2, 4
"""Transfers in flight: what a disk has before it delays whoever comes to work next. Two keep
it reading from its surface without a pause."""
IN_FLIGHT_SECONDS = 0.01
"""What is in flight on a drive delays whoever comes to work; three or more of its transfers keep
a drive busy that answers them in so short a time, and slower ones are busy with two."""


@frozen
class SamplingLimits:
    """How much one device may be asked for in one probing.

    A burst reads ``places``, each for ``place_seconds`` that count; it begins no place after
    ``longest_burst_seconds`` and reads no more than ``burst_bytes`` for each drive that
    shares the work. Bursts go on until the rate is known within ``interval_half_width`` (a
    share of it), or ``max_bytes`` or ``max_seconds`` are spent. Before each, nobody else may
    work for ``quiet_seconds``, and longer each time somebody came to work in the midst of a
    burst; all of that is waited for until ``patience_seconds`` are over.
    """

    longest_burst_seconds: float = 1.2
    places: int = 6
    place_seconds: float = 0.1
    warm_up_seconds: float = 0.3
    settle_seconds: float = 0.03
    burst_bytes: int = 512 * MIB
    interval_half_width: float = 0.03
    max_bytes: int = 1024 * MIB
    max_seconds: float = 6.0
    quiet_seconds: float = 0.25
    patience_seconds: float = 0.0
    grace_seconds: float = 8.0
    """Beyond a burst's time, how long the child may live before it counts as hung."""
    while_syncing: bool = False
    even_if_busy: bool = False


@frozen
class ProbePlan:
    """How one device is to be probed.

    ``may_slope`` where the rate may depend on the place (turning drives, and those that
    do not say); ``zeros_mean_nothing_stored`` where zeros may come without the medium's
    being read: everywhere but on drives known to turn. ``share_count`` drives share the work. Of
    ``in_flight_seconds`` see ``ProbeRequest``.
    """

    device: str
    route: Route
    path: str
    number: DeviceNumber | None
    size_bytes: int
    stripe_bytes: int
    workload: Workload
    watch: Watch
    may_slope: bool
    zeros_mean_nothing_stored: bool
    share_count: int
    temperature_file: str | None
    hottest_celsius: float
    slowest_link: Link | None
    in_flight_seconds: float | None = None


def plan_device(
    host: Host, device: BlockDevice, limits: SamplingLimits, uplinks: tuple[Uplink, ...] = ()
) -> ProbePlan | Skipped:
    """A raw read of one drive or partition; skipped while an array on it synchronises,
    because reads of members slow a rebuild. A member that is an array is read as one."""
    nested = host.array(device.name)
    if nested is not None:
        return plan_array(host, nested, limits, uplinks)
    busy = next((array for array in arrays_on(host, device) if is_syncing(array)), None)
    if busy is not None and not limits.while_syncing:
        return Skipped(
            device=device.name,
            reason=SkipReason.SYNC_RUNNING,
            detail=f"{busy.name} is busy with a {busy.sync_action}, which probes would slow",
        )
    if device.asleep and not limits.even_if_busy:
        return Skipped(
            device=device.name,
            reason=SkipReason.ASLEEP,
            detail=f"{device.name} sleeps, and a probe would wake it",
        )
    plan = _raw_plan(host, device, device_workload(device), uplinks)
    if isinstance(plan, Skipped):
        return plan
    return replace(plan, in_flight_seconds=IN_FLIGHT_SECONDS)


def plan_array(
    host: Host, array: Array, limits: SamplingLimits, uplinks: tuple[Uplink, ...] = ()
) -> ProbePlan | Skipped:
    """A read through md, where even a failing read cannot cost the array a member."""
    device = host.device(array.name)
    refusal = why_not_through_md(host, array, while_syncing=limits.while_syncing)
    if refusal is not None or device is None:
        reason, detail = refusal or (SkipReason.NOT_RUNNING, f"{array.name} has no block device")
        return Skipped(device=array.name, reason=reason, detail=detail)
    plan = _raw_plan(host, device, array_workload(host, array), uplinks)
    if isinstance(plan, Skipped):
        return plan
    geometry = geometry_of(host, array)
    serving = max(len(geometry.serving), 1) if geometry is not None else 1
    return replace(plan, share_count=serving)


def device_workload(device: BlockDevice) -> Workload:
    """One sequential stream, as deep as keeps the drive reading and no deeper."""
    if device.rotational is None:
        return replace(SEQUENTIAL_READ, queue_depth=DEPTH_UNKNOWN)
    if device.rotational:
        return replace(SEQUENTIAL_READ, queue_depth=DEPTH_TURNING)
    return SEQUENTIAL_READ


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


def _raw_plan(
    host: Host, device: BlockDevice, workload: Workload, uplinks: tuple[Uplink, ...]
) -> ProbePlan | Skipped:
    return plan_for(
        host,
        device,
        route=Route.RAW,
        path=device.node,
        size_bytes=device.size_bytes or 0,
        workload=workload,
        watched=device.name,
        uplinks=uplinks,
    )


def plan_for(
    host: Host,
    device: BlockDevice,
    *,
    route: Route,
    path: str,
    size_bytes: int,
    workload: Workload,
    watched: str,
    uplinks: tuple[Uplink, ...] = (),
) -> ProbePlan | Skipped:
    """A plan to read ``path``, of ``size_bytes``, for ``device``; ``watched`` is the device
    whose counters show all of those reads."""
    block = device.logical_block_bytes or 512
    if size_bytes < workload.transfer_bytes:
        return Skipped(
            device=device.name,
            reason=SkipReason.TOO_SMALL,
            detail=f"{path} holds {size_bytes} bytes, less than one transfer",
        )
    if workload.transfer_bytes % block:
        return Skipped(
            device=device.name,
            reason=SkipReason.TOO_SMALL,
            detail=f"{path} takes only whole blocks of {block} bytes, and a transfer is "
            f"{workload.transfer_bytes}",
        )
    disks = _disks(host, device.name)
    turning = [disk.rotational for disk in disks]
    return ProbePlan(
        device=device.name,
        route=route,
        path=path,
        number=device.number if route is Route.RAW else None,
        size_bytes=size_bytes,
        stripe_bytes=block,
        workload=workload,
        watch=watch_for(host, watched, uplinks),
        may_slope=any(turns is not False for turns in turning),
        zeros_mean_nothing_stored=any(turns is not True for turns in turning),
        share_count=1,
        temperature_file=disks[0].temperature_file if len(disks) == 1 else None,
        hottest_celsius=HOTTEST_TURNING if all(turning) else HOTTEST_SOLID_STATE,
        slowest_link=_slowest_link(host, device),
    )


def _disks(host: Host, name: str) -> list[BlockDevice]:
    """The drives all of it lies on, in their order."""
    device = host.device(name)
    if device is None:
        return []
    if not device.below:
        return [device]
    found = [disk for part in device.below for disk in _disks(host, part)]
    return list({disk.name: disk for disk in found}.values())


def _slowest_link(host: Host, device: BlockDevice) -> Link | None:
    """By what it can carry as data; None where no link on the path shows its rate."""
    links = [link for link_id in device.link_ids if (link := host.link(link_id)) is not None]
    rated = [
        (data_bytes_per_second(link.kind, link.negotiated, Direction.READ), link.name, link)
        for link in links
        if link.negotiated is not None
    ]
    return min(rated, default=(0.0, "", None))[2]
