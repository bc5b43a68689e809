"""A name for each device that outlives reboots and renames.

In order of trust: world-wide name, serial, place. The texts are composed to come
out the same whether udev was heard or not, so that a device keeps its history when
the agent starts before udev or in a sandbox without it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from arraygauge.inventory.hardware import Hardware
from arraygauge.inventory.udev import Properties
from arraygauge.values import frozen

_UUID_SEPARATORS = re.compile(r"[-:]")
_NAA = re.compile(r"(?:naa\.|0x)([0-9a-f]{16}|[0-9a-f]{32})")
_UNIQUE = re.compile(r"(?:eui|uuid)\.[0-9a-f-]+")
_BLANKS = re.compile(r"\s+")

_NUMBERED = (
    (re.compile(r"pci[0-9a-f]+:[0-9a-f]+"), ""),  # the root bus: its functions say it again
    (re.compile(r"(host|virtio|usb|nvme|nvme-subsys|session)\d+"), ""),
    (re.compile(r"target[\d:]+"), ""),
    (re.compile(r"end_device-.*"), ""),
    (re.compile(r"block|nvme|virtual"), ""),
    (re.compile(r"\d+:(\d+:\d+:\d+)"), r"\1"),  # SCSI host number, then channel:target:lun
    (re.compile(r"(?:expander|port)-\d+:(.*)"), r"sas-\1"),
    (re.compile(r"\d+-([\d.]+):\d+\.\d+"), ""),  # a USB interface: its device says it
    (re.compile(r"\d+-([\d.]+)"), r"usb-\1"),
    (re.compile(r"nvme\d+(?:c\d+)?(n\d+)"), r"\1"),
)
"""Names on a device path that carry a number given in order of discovery, and what stays."""


@frozen
class Identity:
    """A stable id and which kind of evidence it rests on."""

    stable_id: str
    source: str
    """'wwn', 'serial', 'path', 'uuid' or 'name'."""


def identify_drive(hardware: Hardware, known: Properties, place: str) -> Identity:
    """The best of what a drive offers; ``place`` is where it hangs (see ``describe_place``)."""
    if name := _world_wide_name(hardware, known):
        return Identity(stable_id=f"wwn-{name}", source="wwn")
    if serial := _long_serial(hardware, known):
        return Identity(stable_id=f"serial-{serial}", source="serial")
    return Identity(stable_id=f"path-{place}", source="path")


def _world_wide_name(hardware: Hardware, known: Properties) -> str | None:
    """Registered names only: '0x5000c500a1b2c3d4' or 'eui.…', 'uuid.…' of NVMe.

    A name of one repeated digit is a bridge's filler, not a name.
    """
    candidates = (hardware.wwid, known.get("ID_WWN_WITH_EXTENSION"), known.get("ID_WWN"))
    for text in (candidate.lower() for candidate in candidates if candidate):
        if (match := _NAA.fullmatch(text)) and len(set(match[1][1:])) > 1:
            return f"0x{match[1]}"
        if _UNIQUE.fullmatch(text) and len(set(text.partition(".")[2]) - {"-"}) > 1:
            return text
    return None


def _long_serial(hardware: Hardware, known: Properties) -> str | None:
    """Model and serial together, as serials are only unique within a model."""
    if hardware.serial:
        namespace = str(hardware.namespace) if (hardware.namespace or 1) > 1 else None
        words = [part for part in (hardware.model, hardware.serial, namespace) if part]
        return _BLANKS.sub("_", "_".join(words))
    if hardware.wwid and hardware.wwid.startswith("t10."):
        return _BLANKS.sub("_", hardware.wwid.removeprefix("t10."))
    return known.get("ID_SERIAL") or None


def describe_place(device_path: str, ata_port: str | None) -> str:
    """The place on the board: the path without the numbers that discovery order decides.

    ``ata_port`` is the port's number on its own controller, as ata numbers run on
    over all controllers.
    """
    names = []
    for name in (*device_path.split("/")[:-1], _last(device_path)):
        shown = f"ata-{ata_port}" if re.fullmatch(r"ata\d+", name) and ata_port else name
        for pattern, replacement in _NUMBERED:
            if pattern.fullmatch(shown):
                shown = pattern.sub(replacement, shown)
                break
        names.append(shown)
    return "-".join(name for name in names if name) or device_path


def _last(device_path: str) -> str:
    """The device's own name counts only where it says which of several (NVMe namespaces)."""
    name = device_path.rsplit("/", 1)[-1]
    return name if re.match(r"nvme\d+(?:c\d+)?n\d+", name) else ""


def separate_clones(found: Mapping[str, tuple[Identity, str]]) -> dict[str, Identity]:
    """Identities by device name, each (identity, place): told apart where they repeat.

    Cheap bridges all carry the same serial, so a repeated serial gives way to the
    place, and a repeated place to the device's name as well. A repeated world-wide
    name stays: it is one drive seen over two ports.
    """
    serials = Counter(identity.stable_id for identity, _ in found.values())
    by_place = {
        name: Identity(stable_id=f"path-{place}", source="path")
        if identity.source == "serial" and serials[identity.stable_id] > 1
        else identity
        for name, (identity, place) in found.items()
    }
    places = Counter(identity.stable_id for identity in by_place.values())
    return {
        name: replace(identity, stable_id=f"{identity.stable_id}-{name}")
        if identity.source == "path" and places[identity.stable_id] > 1
        else identity
        for name, identity in by_place.items()
    }


def identify_partition(disk: Identity, number: int | None, uevent: dict[str, str]) -> Identity:
    """The disk's identity and the partition's number; its own UUID where either is weak.

    A partition's UUID is copied when a disk is, so a disk known by name or serial
    comes first.
    """
    uuid = uevent.get("PARTUUID")
    if uuid and (number is None or disk.source not in ("wwn", "serial")):
        return Identity(stable_id=f"partuuid-{uuid.lower()}", source="uuid")
    return Identity(stable_id=f"{disk.stable_id}-part{number or 0}", source=disk.source)


def identify_array(name: str, uuid: str | None) -> Identity:
    """The array's UUID, else its name.

    Not its members' ids: those change when a drive is replaced, and are out of
    reach at the very moment one is pulled.
    """
    digits = _UUID_SEPARATORS.sub("", uuid or "").strip().lower()
    if re.fullmatch(r"[0-9a-f]{32}", digits) and set(digits) != {"0"}:
        return Identity(stable_id=f"md-{digits}", source="uuid")
    return Identity(stable_id=f"name-{name}", source="name")


def identify_mapped(name: str, mapped_name: str | None, uuid: str | None) -> Identity:
    """A device-mapper device: its UUID (LVM, CRYPT), else its mapped name, else dm-N."""
    if uuid:
        return Identity(stable_id=f"dm-{uuid}", source="uuid")
    return Identity(stable_id=f"name-{mapped_name or name}", source="name")


def identify_loop(name: str, backing_file: str | None) -> Identity:
    """A loop device is the file behind it: loop numbers are dealt out anew each time."""
    if backing_file:
        return Identity(stable_id=f"file-{backing_file}", source="path")
    return Identity(stable_id=f"name-{name}", source="name")
