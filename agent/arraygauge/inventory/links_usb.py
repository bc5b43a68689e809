"""USB: the device's own link and that of every hub on the way.

Kernel document: Documentation/ABI/testing/sysfs-bus-usb (speed in Mb/s, rx_lanes,
tx_lanes). The speed was noted at enumeration; reading it wakes nothing. The root
hub is no link: its ports run side by side.
"""

from __future__ import annotations

import re

from arraygauge.inventory.scalars import parse_count
from arraygauge.inventory.sysfs_path import DEVICES, last_name, prefixes
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Link, LinkKind, LinkRate

_DEVICE = re.compile(r"\d+-\d+(?:\.\d+)*")
_SPEED = re.compile(r"[0-9]{1,6}(?:\.[0-9])?")


def find_hops(_reader: Reader, device_path: str) -> tuple[str, ...]:
    """The USB device and the hubs above it, from the device up."""
    return prefixes(device_path, _DEVICE) if "/usb" in device_path else ()


def read_link(reader: Reader, link_id: str) -> Link:
    """One upstream link. No maximum: the kernel does not say what a device could do elsewhere."""
    base = f"{DEVICES}{link_id}"
    speed = reader.value(f"{base}/speed", parse_speed)
    lanes = reader.value(f"{base}/rx_lanes", parse_count) or 1
    rate = None
    if speed is not None:
        rate = LinkRate(bits_per_second_per_lane=speed // lanes, lanes=lanes)
    return Link(
        link_id=link_id,
        kind=LinkKind.USB,
        name=last_name(link_id),
        negotiated=rate,
        maximum=None,
        parent_id=None,
    )


def parse_speed(text: str) -> int | None:
    """Bits a second, all lanes together, of ``'5000'`` Mb/s; None for 'unknown'."""
    if text.strip() == "unknown":
        return None
    match = _SPEED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not a USB speed: {text[:60]!r}")
    return round(float(match[0]) * 10**6) or None
