"""PCI Express: every function between a drive and the CPU.

Kernel documents: Documentation/ABI/testing/sysfs-bus-pci (current_link_speed,
max_link_speed, current_link_width, max_link_width).

A function's link files describe the link *above* it for an endpoint or a switch's
upstream port, and the link *below* it for a root port or a switch's downstream
port; so the two ends of one cable appear as two hops with the same negotiated
rate, each with its own maximum. Functions integrated in the chipset have no link
files, or files that read 'Unknown'. They are hops all the same, without a rate,
so that drives behind one controller are seen to share it.
"""

from __future__ import annotations

import re

from arraygauge.inventory.runtime_power import is_asleep
from arraygauge.inventory.scalars import parse_count
from arraygauge.inventory.sysfs_path import DEVICES, last_name, prefixes
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Link, LinkKind, LinkRate

_FUNCTION = re.compile(r"[0-9a-f]{4,8}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]")
_SPEED = re.compile(r"([0-9]{1,4}(?:\.[0-9])?) GT/s(?: PCIe)?")
_WIDEST = 32
"""PCI Express knows no link wider; the kernel prints 0 for a link that is down, 255 for unknown."""


def find_hops(_reader: Reader, device_path: str) -> tuple[str, ...]:
    """The PCI functions on the way, from the device up."""
    return prefixes(device_path, _FUNCTION)


def read_link(reader: Reader, link_id: str) -> Link:
    """One function's link, rates None while the function sleeps or has no link."""
    return Link(
        link_id=link_id,
        kind=LinkKind.PCIE,
        name=last_name(link_id),
        negotiated=_read_rate(reader, link_id, "current"),
        maximum=_read_rate(reader, link_id, "max"),
        parent_id=None,
    )


def _read_rate(reader: Reader, link_id: str, which: str) -> LinkRate | None:
    # Link files are read from the function's configuration space, and newer kernels
    # wake a runtime-suspended function to do so: a gauge leaves it asleep and reports
    # no rate, which is no fault. Parents of a device at work are never suspended.
    base = f"{DEVICES}{link_id}"
    if is_asleep(reader, base):
        return None
    speed = reader.value(f"{base}/{which}_link_speed", parse_speed)
    lanes = reader.value(f"{base}/{which}_link_width", parse_width)
    if speed is None or lanes is None:
        return None
    return LinkRate(bits_per_second_per_lane=speed, lanes=lanes)


def parse_speed(text: str) -> int | None:
    """Transfers a second, one bit each, of ``'8.0 GT/s PCIe'``; None for 'Unknown'."""
    if text.strip().startswith("Unknown"):
        return None
    match = _SPEED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not a PCI Express speed: {text[:60]!r}")
    return round(float(match[1]) * 10**9) or None


def parse_width(text: str) -> int | None:
    """Lanes; None for a link that is down or not known."""
    lanes = parse_count(text)
    return lanes if 1 <= lanes <= _WIDEST else None
