"""Second pass over the block devices: attributes, links and mounts.

Kernel document: Documentation/ABI/stable/sysfs-block. ``size`` counts 512-byte
sectors whatever the drive's block size; queue limits are in bytes.
"""

from __future__ import annotations

from collections.abc import Mapping

from arraygauge.inventory.block_entry import BlockEntry
from arraygauge.inventory.identities import Known
from arraygauge.inventory.links import LinkTable
from arraygauge.inventory.mountinfo import MountTable
from arraygauge.inventory.problems import ProblemKind
from arraygauge.inventory.runtime_power import is_asleep
from arraygauge.inventory.scalars import (
    parse_choice,
    parse_count,
    parse_flag,
    parse_mask,
    parse_sectors,
)
from arraygauge.inventory.stack import Entries, devices_above, devices_below, read_physical_path
from arraygauge.inventory.sysfs_path import DEVICES
from arraygauge.inventory.temperature import find_temperature_file
from arraygauge.inventory.transport import Transport, transport_of
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import BlockDevice, DeviceKind, Mount
from arraygauge.values import frozen

_BELIEVED = frozenset({Transport.SATA, Transport.SAS, Transport.NVME, Transport.SCSI})
"""Transports whose drives say themselves whether they turn; elsewhere 1 is only the default."""


@frozen
class Surroundings:
    """What one device's reading needs of all the others'."""

    entries: Entries
    partitions: Mapping[str, tuple[str, ...]]
    known: dict[str, Known]
    mounts: MountTable
    links: LinkTable


def read_device(reader: Reader, entry: BlockEntry, around: Surroundings) -> BlockDevice | None:
    """One device; None, with a problem noted, if it went away while it was read."""
    path = read_physical_path(reader, entry, around.entries)
    transport = transport_of(path)
    # A partition has no queue and no 'removable' of its own: its disk's hold.
    disk = around.entries.get(entry.disk or "", entry)
    whole = disk.base
    node = _node(entry)
    mapped_name = reader.text(f"{entry.base}/dm/name") or None
    known = around.known[entry.name]
    hardware = known.hardware
    device = BlockDevice(
        name=entry.name,
        node=node,
        number=entry.number,
        kind=entry.kind,
        stable_id=known.identity.stable_id,
        stable_id_source=known.identity.source,
        model=hardware.model if hardware else None,
        serial=hardware.serial if hardware else None,
        size_bytes=reader.value(f"{entry.base}/size", parse_sectors, expected=True),
        logical_block_bytes=reader.value(f"{whole}/queue/logical_block_size", parse_count),
        physical_block_bytes=reader.value(f"{whole}/queue/physical_block_size", parse_count),
        optimal_io_bytes=reader.value(f"{whole}/queue/optimal_io_size", parse_count),
        dma_alignment_bytes=reader.value(f"{whole}/queue/dma_alignment", parse_mask),
        rotational=_read_rotational(reader, f"{whole}/queue/rotational", transport),
        read_only=reader.value(f"{entry.base}/ro", parse_flag) or False,
        removable=reader.value(f"{whole}/removable", parse_flag) or False,
        scheduler=reader.value(f"{whole}/queue/scheduler", parse_choice),
        transport=transport,
        link_ids=around.links.trace(path),
        disk=entry.disk,
        below=devices_below(entry, around.entries),
        above=devices_above(entry, around.entries, around.partitions),
        mapped_name=mapped_name,
        mapped_uuid=reader.text(f"{entry.base}/dm/uuid") or None,
        backing_file=reader.text(f"{entry.base}/loop/backing_file"),
        mounts=_mounts(entry, node, mapped_name, around.mounts),
        sequence=reader.value(f"{entry.base}/diskseq", parse_count),
        temperature_file=find_temperature_file(
            reader, DEVICES + read_physical_path(reader, disk, around.entries)
        ),
        asleep=is_asleep(reader, f"{whole}/device"),
    )
    if not reader.exists(f"{entry.base}/uevent"):
        reader.note(entry.base, ProblemKind.VANISHED, "the device went away while it was read")
        return None
    return device


def _node(entry: BlockEntry) -> str:
    """The device node; empty for a hidden path, which has none.

    The kernel writes '/' in a name as '!' in sysfs; DEVNAME in uevent has it right.
    """
    if entry.kind is DeviceKind.HIDDEN_PATH:
        return ""
    return "/dev/" + (entry.uevent.get("DEVNAME") or entry.name.replace("!", "/"))


def _read_rotational(reader: Reader, path: str, transport: Transport) -> bool | None:
    """False is believed of anyone; True only of a transport whose drives say it.

    An array or mapped device only repeats its members' word: ask those.
    """
    rotational = reader.value(path, parse_flag)
    return None if rotational and transport not in _BELIEVED else rotational


def _mounts(
    entry: BlockEntry, node: str, mapped_name: str | None, mounts: MountTable
) -> tuple[Mount, ...]:
    if entry.kind is DeviceKind.HIDDEN_PATH:
        return ()
    nodes = (node, f"/dev/mapper/{mapped_name}") if mapped_name else (node,)
    return mounts.on(entry.number, nodes)
