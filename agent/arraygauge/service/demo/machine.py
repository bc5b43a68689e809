"""The invented workstation as the inventory would show it: one frozen host for each moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from arraygauge.inventory.transport import Transport
from arraygauge.inventory.values import (
    Array,
    ArrayState,
    BlockDevice,
    DeviceKind,
    Host,
    Level,
    Link,
    LinkKind,
    LinkRate,
    Member,
    MemberState,
    Mount,
    SyncAction,
)
from arraygauge.service.demo.bays import BAYS, SHELVES, Bay, Shelf, bay_named
from arraygauge.service.demo.drives import Make
from arraygauge.service.demo.story import BayState, state_of

HOST_NAME = "invented-workstation (simulated)"
BOOT_ID = "00000000-0000-4000-8000-000000000000"
REBUILD_BYTES_PER_SECOND = 99_000_000
_SATA_CONTROLLER = "invented/0000:00:17.0"
_DATA_OFFSET_BYTES = 128 * 2**20


States = Mapping[str, BayState]
"""What is in each bay, by its name."""


def states_at(day: float) -> dict[str, BayState]:
    return {bay.name: state_of(bay.name, day) for bay in BAYS}


def as_seen(states: States) -> tuple[object, ...]:
    """All of it that the kernel shows: while this is the same, so is the host but for its date."""
    return tuple(
        (each.generation, each.lanes, each.errors, each.lost, each.filled)
        for each in states.values()
    )


def host_of(states: States, taken_at_seconds: float) -> Host:
    """The machine with this in its bays."""
    there = [bay for bay in BAYS if not states[bay.name].lost]
    return Host(
        name=HOST_NAME,
        boot_id=BOOT_ID,
        kernel="0.0-invented",
        taken_at_seconds=taken_at_seconds,
        devices=(
            *(_drive(index, bay, states[bay.name]) for index, bay in enumerate(there)),
            *(_node(index, shelf, states) for index, shelf in enumerate(SHELVES)),
        ),
        arrays=tuple(_array(shelf, states) for shelf in SHELVES),
        links=(*(link for bay in there for link in _links(bay, states[bay.name])), _SATA),
        problems=(),
    )


def serial_of(bay: Bay, state: BayState) -> str:
    """No drive is without the word, whatever bay it is in."""
    return f"INVENTED-{bay.make.model.split()[-1]}{bay.number:02d}-{state.generation + 1}"


def stable_id_of(bay: Bay, state: BayState) -> str:
    return serial_of(bay, state).lower()


_SATA = Link(
    link_id=_SATA_CONTROLLER,
    kind=LinkKind.PCIE,
    name="0000:00:17.0",
    negotiated=None,
    maximum=None,
    parent_id=None,
)


def _link_ids(bay: Bay) -> tuple[str, ...]:
    if bay.make.transport is Transport.NVME:
        port = f"invented/0000:00:1d.{bay.number - 1}"
        return f"{port}/0000:{bay.number:02x}:00.0", port
    return f"invented/ata/link of {bay.name}", _SATA_CONTROLLER


def _links(bay: Bay, state: BayState) -> tuple[Link, ...]:
    make, (own, above) = bay.make, _link_ids(bay)
    nvme = make.transport is Transport.NVME
    most = LinkRate(bits_per_second_per_lane=make.link_bits_per_second, lanes=make.lanes)
    link = Link(
        link_id=own,
        kind=LinkKind.PCIE if nvme else LinkKind.SATA,
        name=own.rsplit("/", 1)[1],
        negotiated=replace(most, lanes=state.lanes or make.lanes),
        maximum=most,
        parent_id=above,
    )
    port = replace(link, link_id=above, name=above.rsplit("/", 1)[1], parent_id=None)
    return (link, port) if nvme else (link,)


def _drive(index: int, bay: Bay, state: BayState) -> BlockDevice:
    make = bay.make
    system = not any(bay.name in shelf.bays for shelf in SHELVES)
    return replace(
        _plain(bay.name, DeviceKind.DRIVE, (8, 16 * index)),
        stable_id=stable_id_of(bay, state),
        stable_id_source="serial",
        model=make.model,
        serial=serial_of(bay, state),
        size_bytes=make.size_bytes,
        physical_block_bytes=4096,
        rotational=make.rotational,
        transport=make.transport,
        link_ids=_link_ids(bay),
        above=tuple(shelf.name for shelf in SHELVES if bay.name in shelf.bays),
        mounts=(_mount((8, 16 * index), "/invented", bay.name),) if system else (),
        sequence=1 + index + 100 * state.generation,
    )


def _node(index: int, shelf: Shelf, states: States) -> BlockDevice:
    number = (9, index)
    return replace(
        _plain(shelf.name, DeviceKind.ARRAY, number),
        stable_id=f"invented-{shelf.name}",
        stable_id_source="uuid",
        size_bytes=shelf.size_bytes,
        rotational=bay_named(shelf.bays[0]).make.rotational,
        below=tuple(name for name in shelf.bays if not states[name].lost),
        mounts=(_mount(number, shelf.mount_point, shelf.name),),
    )


def _plain(name: str, kind: DeviceKind, number: tuple[int, int]) -> BlockDevice:
    """``node`` is no path of this machine's, so that nothing could ever open it."""
    return BlockDevice(
        name=name,
        node=f"/invented/dev/{name}",
        number=number,
        kind=kind,
        stable_id="",
        stable_id_source="",
        model=None,
        serial=None,
        size_bytes=None,
        logical_block_bytes=512,
        physical_block_bytes=512,
        optimal_io_bytes=None,
        dma_alignment_bytes=512,
        rotational=None,
        read_only=False,
        removable=False,
        scheduler=None,
        transport=Transport.UNKNOWN,
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


def _mount(number: tuple[int, int], point: str, name: str) -> Mount:
    return Mount(
        device_number=number,
        mount_point=point,
        root="/",
        filesystem="ext4",
        source=f"/invented/dev/{name}",
        options=("rw",),
    )


def _array(shelf: Shelf, states: States) -> Array:
    redundant = shelf.level is not Level.RAID0
    make = bay_named(shelf.bays[0]).make
    filling = next((s for n in shelf.bays if (s := states[n]).filled is not None), None)
    away = [name for name in shelf.bays if states[name].lost or states[name].filled is not None]
    return Array(
        name=shelf.name,
        stable_id=f"invented-{shelf.name}",
        level=shelf.level,
        level_text=str(shelf.level),
        layout=shelf.layout,
        chunk_bytes=shelf.chunk_bytes,
        raid_disks=len(shelf.bays),
        state=ArrayState.CLEAN,
        state_text="clean",
        degraded=len(away) if redundant else None,
        sync_action=_sync_action(filling) if redundant else None,
        sync_done_bytes=round(make.size_bytes * filling.filled)
        if filling and filling.filled is not None
        else None,
        sync_total_bytes=make.size_bytes if filling else None,
        sync_bytes_per_second=REBUILD_BYTES_PER_SECOND if filling else None,
        sync_delayed=False,
        mismatch_bytes=0 if redundant else None,
        metadata_version="1.2",
        component_bytes=make.size_bytes - _DATA_OFFSET_BYTES,
        size_bytes=shelf.size_bytes,
        bitmap="internal" if redundant else None,
        stripe_cache_entries=256 if shelf.level is Level.RAID5 else None,
        worker_threads=0 if shelf.level is Level.RAID5 else None,
        members=tuple(
            _member(name, slot, make, states[name]) for slot, name in enumerate(shelf.bays)
        ),
        mdstat_broken=False,
    )


def _sync_action(filling: BayState | None) -> SyncAction:
    return SyncAction.IDLE if filling is None else SyncAction.RECOVER


def _member(name: str, slot: int, make: Make, state: BayState) -> Member:
    """One that was lost is what md holds of a disk that left the bus: failed, without a slot."""
    word = MemberState.IN_SYNC
    if state.lost:
        word = MemberState.FAULTY
    elif state.filled is not None:
        word = MemberState.SPARE
    return Member(
        name=name,
        present=not state.lost,
        slot=None if state.lost else slot,
        states=(word,),
        state_text=str(word),
        errors=state.errors,
        data_offset_bytes=_DATA_OFFSET_BYTES,
        size_bytes=make.size_bytes - _DATA_OFFSET_BYTES,
        bad_block_ranges=0,
    )
