"""What a block device is: a drive, or one of the many things that only look like one.

Kernel documents: Documentation/ABI/stable/sysfs-block (partition, hidden), and the
drivers' own names; names are only trusted where the kernel fixes them.
"""

from __future__ import annotations

import re

from arraygauge.inventory.values import DeviceKind

_BY_NAME = (
    (re.compile(r"loop\d+"), DeviceKind.LOOP),
    (re.compile(r"ram\d+"), DeviceKind.RAM),
    (re.compile(r"zram\d+"), DeviceKind.COMPRESSED_RAM),
    (re.compile(r"sr\d+"), DeviceKind.OPTICAL),
    (re.compile(r"nbd\d+|rbd\d+|drbd\d+|etherd!.+"), DeviceKind.NETWORK),
    # Flash without a translation layer, boot areas of eMMC, floppy drives (whose
    # opening spins the motor): block devices nobody builds arrays of.
    (re.compile(r"fd\d+|mtdblock\d+|ubiblock\d+_\d+"), DeviceKind.UNKNOWN),
    (re.compile(r"mmcblk\d+(?:boot\d+|rpmb)"), DeviceKind.UNKNOWN),
)
_OVER_NETWORK = re.compile(r"/nvme-fabrics/|/session\d+/target")
"""NVMe over fabrics; iSCSI sessions (scsi_transport_iscsi)."""

_OPTICAL_TYPES = frozenset({"4", "5", "7"})
"""SCSI peripheral types write-once, CD/DVD, optical memory: the kernel's scsi_proto.h."""


def classify(
    *,
    name: str,
    device_path: str,
    entries: frozenset[str],
    hidden: bool,
    has_slaves: bool,
    scsi_type: str | None,
) -> DeviceKind:
    """The device's kind from its sysfs place and the names in its directory (``entries``)."""
    marked = _by_directory(entries, hidden)
    if marked is not None:
        return marked
    for pattern, kind in _BY_NAME:
        if pattern.fullmatch(name):
            return kind
    if _OVER_NETWORK.search(f"/{device_path}"):
        return DeviceKind.NETWORK
    if scsi_type in _OPTICAL_TYPES:
        return DeviceKind.OPTICAL
    if device_path.startswith("virtual/") and "/nvme-subsystem/" not in device_path:
        return DeviceKind.MAPPED if has_slaves else DeviceKind.UNKNOWN
    return DeviceKind.DRIVE


def _by_directory(entries: frozenset[str], hidden: bool) -> DeviceKind | None:
    if "partition" in entries:
        return DeviceKind.PARTITION
    if hidden:
        return DeviceKind.HIDDEN_PATH
    if "md" in entries:
        return DeviceKind.ARRAY
    if "dm" in entries:
        return DeviceKind.MAPPED
    return None
