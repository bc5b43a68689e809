"""Supplies for the tests of plans: invented drives on an invented bus."""

from __future__ import annotations

from arraygauge.theory import MemberRate, Resource, ResourceKind, Source
from arraygauge.theory.plan import PlannedDrive, Supply

TERABYTE = 10**12
DRIVE = 100e6
"""Bytes per second of each, both ways, unless said otherwise."""


def drive(
    name: str, *, rate: float = DRIVE, size: int = TERABYTE, disk: bool = False
) -> PlannedDrive:
    return PlannedDrive(
        name=name,
        size_bytes=size,
        rate=MemberRate(
            read_bytes_per_second=rate,
            write_bytes_per_second=rate,
            source=Source.RATED,
            operation_seconds=12e-3 if disk else 0.0,
            latency_seconds=0.0 if disk else 1e-4,
        ),
        write_source=Source.RATED,
        rotational=disk,
    )


def drives(count: int, *, rate: float = DRIVE, disk: bool = False) -> tuple[PlannedDrive, ...]:
    return tuple(drive(f"d{number}", rate=rate, disk=disk) for number in range(1, count + 1))


def link(name: str, rate: float, behind: tuple[PlannedDrive, ...]) -> Resource:
    return Resource(
        name=name,
        kind=ResourceKind.LINK,
        read_bytes_per_second=rate,
        write_bytes_per_second=rate,
        full_duplex=True,
        source=Source.DECLARED,
        members=tuple(each.name for each in behind),
    )


def behind_one(count: int, wall: float, *, rate: float = DRIVE, disk: bool = False) -> Supply:
    """All behind one link of so many bytes a second."""
    held = drives(count, rate=rate, disk=disk)
    return Supply(drives=held, links=(link("uplink", wall, held),))


def free(count: int, *, disk: bool = False) -> Supply:
    """Drives that share nothing."""
    return Supply(drives=drives(count, disk=disk))
