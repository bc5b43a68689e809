"""Asks every block device who it is and gives each its stable id."""

from __future__ import annotations

import re

from arraygauge.inventory import identity
from arraygauge.inventory.block_entry import BlockEntry
from arraygauge.inventory.hardware import Hardware, read_hardware
from arraygauge.inventory.identity import Identity
from arraygauge.inventory.scalars import parse_count
from arraygauge.inventory.stack import Entries, read_physical_path
from arraygauge.inventory.sysfs_path import DEVICES, last_name, prefixes
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.udev import AskUdev
from arraygauge.inventory.values import DeviceKind
from arraygauge.values import frozen

_HARDWARE = frozenset({DeviceKind.DRIVE, DeviceKind.OPTICAL, DeviceKind.NETWORK})
_SOFTWARE = "virtual/block/"
"""Where drivers without hardware put their devices: an nbd has no place but its name."""
_ATA_PORT = re.compile(r"ata\d+")


@frozen
class Known:
    """A device's identity and, for hardware, what it said of itself."""

    identity: Identity
    hardware: Hardware | None = None


def read_identities(reader: Reader, entries: Entries, ask_udev: AskUdev) -> dict[str, Known]:
    """Every entry's identity, by name."""
    known = _identify_hardware(reader, entries, ask_udev)
    for name, entry in entries.items():
        if name not in known and entry.disk is None:
            known[name] = Known(identity=_identify_made(reader, entry, ask_udev))
    for name, entry in entries.items():
        if entry.disk is not None:
            known[name] = Known(identity=_identify_partition(reader, entry, known))
    return known


def _identify_hardware(reader: Reader, entries: Entries, ask_udev: AskUdev) -> dict[str, Known]:
    hardware: dict[str, Hardware] = {}
    found: dict[str, tuple[Identity, str]] = {}
    for name, entry in entries.items():
        if entry.kind in _HARDWARE and not entry.device_path.startswith(_SOFTWARE):
            properties = ask_udev(entry.number)
            hardware[name] = read_hardware(reader, entry, properties)
            place = _read_place(reader, read_physical_path(reader, entry, entries))
            found[name] = (identity.identify_drive(hardware[name], properties, place), place)
    separated = identity.separate_clones(found)
    return {name: Known(identity=separated[name], hardware=hardware[name]) for name in separated}


def _read_place(reader: Reader, device_path: str) -> str:
    port = next(iter(prefixes(device_path, _ATA_PORT)), None)
    number = None
    if port is not None:
        number = reader.text(f"{DEVICES}{port}/ata_port/{last_name(port)}/port_no")
    return identity.describe_place(device_path, number)


def _identify_made(reader: Reader, entry: BlockEntry, ask_udev: AskUdev) -> Identity:
    """Everything that is no hardware of its own and no partition."""
    match entry.kind:
        case DeviceKind.ARRAY:
            # The kernel's md/uuid is newer than most kernels; udev read the superblock.
            uuid = reader.text(f"{entry.base}/md/uuid") or ask_udev(entry.number).get("MD_UUID")
            return identity.identify_array(entry.name, uuid)
        case DeviceKind.MAPPED:
            name, uuid = (reader.text(f"{entry.base}/dm/{which}") for which in ("name", "uuid"))
            return identity.identify_mapped(entry.name, name, uuid)
        case DeviceKind.LOOP:
            backing_file = reader.text(f"{entry.base}/loop/backing_file")
            return identity.identify_loop(entry.name, backing_file)
        case DeviceKind.HIDDEN_PATH:
            place = _read_place(reader, entry.device_path)
            return Identity(stable_id=f"path-{place}", source="path")
        case _:
            return Identity(stable_id=f"name-{entry.name}", source="name")


def _identify_partition(reader: Reader, entry: BlockEntry, known: dict[str, Known]) -> Identity:
    disk = known.get(entry.disk or "")
    named = disk.identity if disk else Identity(stable_id=f"name-{entry.disk}", source="name")
    number = reader.value(f"{entry.base}/partition", parse_count)
    return identity.identify_partition(named, number, entry.uevent)
