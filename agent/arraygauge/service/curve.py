"""The curve: one device or array read at several transfer sizes and queue depths, beside what
theory predicts for each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from arraygauge.errors import UnknownDeviceError
from arraygauge.history import History, Measurements, Pen
from arraygauge.history.measurements import attempt_record
from arraygauge.inventory.values import Array, BlockDevice, Host
from arraygauge.judge import expected_rates
from arraygauge.probe.plan import SamplingLimits
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.service.grounds import grounds_of
from arraygauge.service.probing import Probing, Progress
from arraygauge.service.survey import Surveyor
from arraygauge.service.targets import Targets, bare_name
from arraygauge.theory import (
    Access,
    Direction,
    Expectation,
    MemberRate,
    Source,
    Workload,
    expect_array,
    expect_device,
)
from arraygauge.units import KIB, MIB
from arraygauge.values import frozen

SEQUENTIAL_SIZES = (16 * KIB, 64 * KIB, 256 * KIB, MIB, 4 * MIB)
RANDOM_SIZES = (4 * KIB, 16 * KIB, 64 * KIB, 256 * KIB)
DEPTHS = (1, 2, 4, 8, 16, 32)
USUAL_DEPTH = 8
DEPTH_SIZE = {Access.SEQUENTIAL: 256 * KIB, Access.RANDOM: 4 * KIB}
"""The transfer size whose depths are gone through."""
POINT_BYTES, POINT_SECONDS, POINT_HALF_WIDTH = 128 * MIB, 2.0, 0.05
OWN_LIMIT_PER_SECOND = 50_000
"""Transfers a second from which on the agent's own loop, not the drive, may set the pace:
half of what it reached on a drive in memory (tests/bench/reading_engine.py)."""


@frozen
class CurvePoint:
    """``expectation`` is None where too little is known to predict this one; ``own_limit`` says
    that the agent itself may have set the pace."""

    workload: Workload
    attempt: Attempt
    expectation: Expectation | None
    own_limit: bool


@frozen
class Curve:
    """``alone`` are the readings the predictions stand on: the members', or the device's own."""

    body: Array | BlockDevice
    name: str
    access: Access
    alone: Mapping[str, Attempt]
    points: tuple[CurvePoint, ...]


def curve_workloads(access: Access, least_bytes: int) -> tuple[Workload, ...]:
    """Every size at the usual depth, then one size at every depth; each pair once."""
    sizes = SEQUENTIAL_SIZES if access is Access.SEQUENTIAL else RANDOM_SIZES
    pairs = [(max(size, least_bytes), USUAL_DEPTH) for size in sizes]
    pairs += [(max(DEPTH_SIZE[access], least_bytes), depth) for depth in DEPTHS]
    return tuple(
        Workload(direction=Direction.READ, access=access, transfer_bytes=size, queue_depth=depth)
        for size, depth in dict.fromkeys(pairs)
    )


def measure_curve(surveyor: Surveyor, name: str, access: Access, progress: Progress) -> Curve:
    """Read what the predictions need, then every point. UnknownDeviceError for no such name."""
    host, probing = surveyor.hosts.read(), surveyor.probing()
    bare = bare_name(name)
    device = host.device(bare)
    if device is None:
        raise UnknownDeviceError(
            f"{name}: this machine has no such array or block device",
            "see `arraygauge inventory` for what it has",
        )
    array = host.array(bare)
    parts = _members(host, array) if array is not None else (device,)
    alone = probing.probe_all(host, Targets(arrays=(), devices=parts), progress)
    waits = _waits(probing, host, parts, progress)
    board = grounds_of(probing.configuration, host).board
    rates = _rates(host, array, alone, waits, probing)
    points = []
    workloads = curve_workloads(access, device.logical_block_bytes or 512)
    for index, workload in enumerate(workloads):
        progress(bare, index, len(workloads))
        attempt = probing.probe_as(host, device, workload, _point_limits(probing.limits))
        expectation = (
            expect_array(host, array, rates, board, workload)
            if array is not None
            else expect_device(host, device, rates.get(bare), board, workload)
        )
        points.append(
            CurvePoint(
                workload=workload,
                attempt=attempt,
                expectation=expectation,
                own_limit=_is_own_limit(attempt),
            )
        )
    return Curve(body=array or device, name=bare, access=access, alone=alone, points=tuple(points))


def keep_curve(curve: Curve, history: History, now_seconds: float) -> bool:
    """Write the points that were measured where the page looks for them. Whether they are on
    the disk."""
    return Measurements(Pen(history)).add(
        attempt_record(curve.body, point.attempt, point.expectation, now_seconds)
        for point in curve.points
        if isinstance(point.attempt, Measurement) and point.attempt.usable
    )


def _members(host: Host, array: Array) -> tuple[BlockDevice, ...]:
    names = [member.name for member in array.members if member.serving]
    return tuple(device for name in names if (device := host.device(name)) is not None)


def _point_limits(limits: SamplingLimits) -> SamplingLimits:
    return replace(
        limits,
        max_bytes=min(limits.max_bytes, POINT_BYTES),
        max_seconds=min(limits.max_seconds, POINT_SECONDS),
        interval_half_width=max(limits.interval_half_width, POINT_HALF_WIDTH),
    )


def _waits(
    probing: Probing, host: Host, devices: tuple[BlockDevice, ...], progress: Progress
) -> dict[str, float]:
    """Seconds that one small read at a random place takes, nothing else in flight."""
    waits = {}
    for index, device in enumerate(devices):
        progress(device.name, index, len(devices))
        workload = Workload(
            direction=Direction.READ,
            access=Access.RANDOM,
            transfer_bytes=max(4 * KIB, device.logical_block_bytes or 512),
            queue_depth=1,
        )
        attempt = probing.probe_as(host, device, workload, _point_limits(probing.limits))
        if isinstance(attempt, Measurement) and attempt.latency is not None:
            waits[device.name] = attempt.latency.median
    return waits


def _rates(
    host: Host,
    array: Array | None,
    alone: Mapping[str, Attempt],
    waits: Mapping[str, float],
    probing: Probing,
) -> dict[str, MemberRate]:
    """Each part's rate with what one operation costs it: a drive that turns is busy for all of
    that time, another answers several at once."""
    if array is not None:
        found = expected_rates(host, array, alone, grounds_of(probing.configuration, host))
    else:
        found = {
            name: MemberRate(
                read_bytes_per_second=attempt.bytes_per_second,
                write_bytes_per_second=None,
                source=Source.MEASURED,
            )
            for name, attempt in alone.items()
            if isinstance(attempt, Measurement) and attempt.usable and attempt.bytes_per_second
        }
    return {name: _with_wait(host, name, rate, waits.get(name)) for name, rate in found.items()}


def _with_wait(host: Host, name: str, rate: MemberRate, wait: float | None) -> MemberRate:
    device = host.device(name)
    if wait is None or device is None:
        return rate
    own = max(wait - 4 * KIB / rate.read_bytes_per_second, 0.0)
    if device.rotational:
        return replace(rate, operation_seconds=own)
    return replace(rate, latency_seconds=own)


def _is_own_limit(attempt: Attempt) -> bool:
    if not isinstance(attempt, Measurement) or attempt.bytes_per_second is None:
        return False
    return attempt.bytes_per_second / attempt.workload.transfer_bytes > OWN_LIMIT_PER_SECOND
