"""Reading a device's place in the tree off its sysfs path.

A device path here is the part below /sys/devices, such as
``pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda``; the names on
the way are the buses and bridges the device hangs on, nearest last.
"""

from __future__ import annotations

import re

DEVICES = "/sys/devices/"


def below_devices(path: str) -> str:
    """The device path of an absolute sysfs path."""
    return path.removeprefix(DEVICES)


def prefixes(device_path: str, name: re.Pattern[str]) -> tuple[str, ...]:
    """Every leading part of the path whose last name matches, from the device up."""
    names = device_path.split("/")
    ends = [at + 1 for at, each in enumerate(names) if name.fullmatch(each)]
    return tuple("/".join(names[:end]) for end in reversed(ends))


def last_name(device_path: str) -> str:
    """The device's own name: the last one of the path."""
    return device_path.rsplit("/", 1)[-1]
