"""Requests for tests, with everything but the matter at hand filled in."""

from __future__ import annotations

from pathlib import Path

from arraygauge.probe.values import Extent, ProbeRequest, Route
from arraygauge.theory.values import Access, Direction, Workload
from unit.probe.loop_device import LoopDevice

MIB = 1 << 20


def reads(
    transfer_bytes: int = MIB,
    queue_depth: int = 8,
    access: Access = Access.SEQUENTIAL,
    streams: int = 1,
) -> Workload:
    return Workload(
        direction=Direction.READ,
        access=access,
        transfer_bytes=transfer_bytes,
        queue_depth=queue_depth,
        streams=streams,
    )


def request(
    path: str | Path,
    *,
    number: tuple[int, int] | None = None,
    workload: Workload | None = None,
    extents: tuple[tuple[int, int], ...] = ((0, 64 * MIB),),
    place_seconds: float = 5.0,
    warm_up_seconds: float = 0.0,
    longest_seconds: float = 20.0,
    max_bytes: int = 1 << 40,
    deadline_seconds: float = 20.0,
) -> ProbeRequest:
    """A raw read where a device number is given, else a read through a file."""
    return ProbeRequest(
        device="sdz",
        route=Route.FILE if number is None else Route.RAW,
        path=str(path),
        number=number,
        workload=workload or reads(),
        extents=tuple(Extent(start_bytes=at, length_bytes=length) for at, length in extents),
        warm_up_seconds=warm_up_seconds,
        settle_seconds=0.0,
        place_seconds=place_seconds,
        longest_seconds=longest_seconds,
        max_bytes=max_bytes,
        deadline_seconds=deadline_seconds,
    )


def loop_request(
    loop: LoopDevice,
    *,
    workload: Workload | None = None,
    extents: tuple[tuple[int, int], ...] = ((0, 64 * MIB),),
    place_seconds: float = 5.0,
    max_bytes: int = 1 << 40,
) -> ProbeRequest:
    return request(
        loop.node,
        number=loop.number,
        workload=workload,
        extents=extents,
        place_seconds=place_seconds,
        max_bytes=max_bytes,
    )
