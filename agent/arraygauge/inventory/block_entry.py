"""First pass over /sys/class/block: what is there and how it hangs together.

Kernel document: Documentation/ABI/stable/sysfs-block.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from arraygauge.inventory.kind import classify
from arraygauge.inventory.problems import ProblemKind
from arraygauge.inventory.scalars import parse_device_number, parse_flag
from arraygauge.inventory.sysfs_path import below_devices
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import DeviceKind, DeviceNumber
from arraygauge.values import frozen

BLOCK_CLASS = "/sys/class/block"
_NO_NUMBER = (0, 0)
_HEAD = re.compile(r"nvme(\d+)n(\d+)")


@frozen
class BlockEntry:
    """One entry of /sys/class/block, before its attributes are read."""

    name: str
    device_path: str
    """Where it hangs: the sysfs path below /sys/devices."""
    number: DeviceNumber
    """(0, 0) for a hidden path of a multipath device, which the kernel gives no number."""
    kind: DeviceKind
    uevent: dict[str, str]
    slaves: tuple[str, ...]
    holders: tuple[str, ...]

    @property
    def base(self) -> str:
        """The entry's directory."""
        return f"{BLOCK_CLASS}/{self.name}"

    @property
    def disk(self) -> str | None:
        """The disk a partition lies on; None for anything but a partition."""
        if self.kind is not DeviceKind.PARTITION:
            return None
        return self.device_path.split("/")[-2] if "/" in self.device_path else None


def read_entries(reader: Reader) -> dict[str, BlockEntry]:
    """Every block device by name. One that goes away meanwhile is left out, with a problem."""
    entries = {}
    for name in reader.names(BLOCK_CLASS):
        if (entry := _read_entry(reader, name)) is not None:
            entries[name] = entry
    return entries


def _read_entry(reader: Reader, name: str) -> BlockEntry | None:
    base = f"{BLOCK_CLASS}/{name}"
    path = reader.resolve(base)
    if path is None:
        reader.note(base, ProblemKind.VANISHED, "the device went away while it was read")
        return None
    uevent = parse_uevent(reader.text(f"{base}/uevent") or "")
    hidden = reader.value(f"{base}/hidden", parse_flag) or False
    number = _read_number(reader, base, uevent)
    if number is None and not hidden:
        reader.note(f"{base}/dev", ProblemKind.VANISHED, "no device number")
        return None
    slaves = reader.names(f"{base}/slaves")
    kind = classify(
        name=name,
        device_path=below_devices(path),
        entries=frozenset(reader.names(base)),
        hidden=hidden,
        has_slaves=bool(slaves),
        scsi_type=reader.text(f"{base}/device/type"),
    )
    return BlockEntry(
        name=name,
        device_path=below_devices(path),
        number=number or _NO_NUMBER,
        kind=kind,
        uevent=uevent,
        slaves=slaves,
        holders=reader.names(f"{base}/holders"),
    )


def _read_number(reader: Reader, base: str, uevent: dict[str, str]) -> DeviceNumber | None:
    number = reader.value(f"{base}/dev", parse_device_number)
    if number is not None:
        return number
    try:
        return parse_device_number(f"{uevent['MAJOR']}:{uevent['MINOR']}")
    except (KeyError, ValueError):
        return None


def parse_uevent(text: str) -> dict[str, str]:
    """The ``KEY=VALUE`` lines of a uevent file; other lines are passed over."""
    pairs = (line.partition("=") for line in text.splitlines())
    return {key: value for key, equals, value in pairs if key and equals}


def hidden_paths(head: str, entries: Mapping[str, BlockEntry]) -> tuple[str, ...]:
    """The hidden path devices behind an NVMe multipath device.

    The kernel names the paths of nvmeSnN nvmeScCnN: C is the controller.
    """
    match = _HEAD.fullmatch(head)
    if match is None:
        return ()
    pattern = re.compile(rf"nvme{match[1]}c\d+n{match[2]}")
    return tuple(
        name
        for name, entry in entries.items()
        if entry.kind is DeviceKind.HIDDEN_PATH and pattern.fullmatch(name)
    )


def head_of(path: str) -> str:
    """The multipath device a hidden path belongs to: nvme0c3n1 is a path of nvme0n1."""
    return re.sub(r"c\d+", "", path)
