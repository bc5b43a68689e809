"""Invented hosts for tests: machines nobody owns, made from the inventory's own values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from arraygauge.inventory.transport import Transport
from arraygauge.inventory.values import (
    Array,
    ArrayState,
    BlockDevice,
    DeviceKind,
    Host,
    Level,
    Link,
    Member,
    MemberState,
    SyncAction,
)
from arraygauge.probe.values import Measurement, Outcome, PlaceRate, Route
from arraygauge.theory import SEQUENTIAL_READ, Workload

GIB = 2**30


def drive(name: str, **changes: Any) -> BlockDevice:
    """A drive of 100 GiB without seeks and without known links."""
    plain = BlockDevice(
        name=name,
        node=f"/dev/{name}",
        number=(8, sum(map(ord, name)) % 256),
        kind=DeviceKind.DRIVE,
        stable_id=f"invented-{name}",
        stable_id_source="serial",
        model="Invented Drive",
        serial=f"serial-{name}",
        size_bytes=100 * GIB,
        logical_block_bytes=512,
        physical_block_bytes=4096,
        optimal_io_bytes=None,
        dma_alignment_bytes=512,
        rotational=False,
        read_only=False,
        removable=False,
        scheduler=None,
        transport=Transport.SATA,
        link_ids=(),
        disk=None,
        below=(),
        above=(),
        mapped_name=None,
        mapped_uuid=None,
        backing_file=None,
        mounts=(),
        sequence=None,
        temperature_file=None,
        asleep=False,
    )
    return replace(plain, **changes)


def member(name: str, slot: int | None, **changes: Any) -> Member:
    """A member in good order."""
    plain = Member(
        name=name,
        present=True,
        slot=slot,
        states=(MemberState.IN_SYNC,),
        state_text="in_sync",
        errors=0,
        data_offset_bytes=0,
        size_bytes=100 * GIB,
        bad_block_ranges=0,
    )
    return replace(plain, **changes)


FAILED: Mapping[str, Any] = {
    "slot": None,
    "states": (MemberState.FAULTY,),
    "state_text": "faulty",
}
"""What the kernel shows of a member it has failed and taken out of its slot."""


def array(level: Level, members: Iterable[Member], **changes: Any) -> Array:
    """A running, clean array over the members."""
    held = tuple(members)
    redundant = level not in (Level.RAID0, Level.LINEAR)
    plain = Array(
        name="md0",
        stable_id="invented-md0",
        level=level,
        level_text=str(level),
        layout={Level.RAID5: 2, Level.RAID6: 2, Level.RAID10: 258}.get(level),
        chunk_bytes=512 * 1024,
        raid_disks=len(held),
        state=ArrayState.CLEAN,
        state_text="clean",
        degraded=0 if redundant else None,
        sync_action=SyncAction.IDLE if redundant else None,
        sync_done_bytes=None,
        sync_total_bytes=None,
        sync_bytes_per_second=None,
        sync_delayed=False,
        mismatch_bytes=0,
        metadata_version="1.2",
        component_bytes=100 * GIB,
        size_bytes=100 * GIB,
        bitmap=None,
        stripe_cache_entries=None,
        worker_threads=None,
        members=held,
        mdstat_broken=False,
    )
    return replace(plain, **changes)


def host(
    arrays: Iterable[Array] = (),
    drives: Iterable[BlockDevice] | None = None,
    links: Iterable[Link] = (),
) -> Host:
    """A host holding the arrays, with one plain drive for each member that is present."""
    held = tuple(arrays)
    names = [member.name for each in held for member in each.members if member.present]
    bodies = tuple(drives) if drives is not None else tuple(drive(name) for name in names)
    nodes = tuple(
        drive(each.name, kind=DeviceKind.ARRAY, below=tuple(m.name for m in each.members))
        for each in held
    )
    return Host(
        name="invented",
        boot_id="00000000-0000-0000-0000-000000000000",
        kernel="0.0-invented",
        taken_at_seconds=0.0,
        devices=(*bodies, *nodes),
        arrays=held,
        links=tuple(links),
        problems=(),
    )


def measured(
    name: str, bytes_per_second: float, workload: Workload = SEQUENTIAL_READ
) -> Measurement:
    """A finished raw measurement of six places, all at exactly this rate."""
    size = round(bytes_per_second / 10)
    places = tuple(
        PlaceRate(start_bytes=index * 16 * GIB, bytes_read=size, seconds=0.1) for index in range(6)
    )
    return Measurement(
        device=name,
        route=Route.RAW,
        path=f"/dev/{name}",
        workload=workload,
        outcome=Outcome.COMPLETED,
        detail=None,
        started_at_seconds=0.0,
        seconds=1.0,
        bursts=1,
        bytes_read=6 * size,
        bytes_per_second=bytes_per_second,
        low_bytes_per_second=bytes_per_second,
        high_bytes_per_second=bytes_per_second,
        slope=None,
        latency=None,
        places=places,
        set_aside=(),
        temperature_celsius=None,
        slowest_link=None,
    )
