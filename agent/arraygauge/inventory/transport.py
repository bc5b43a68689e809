"""How a drive is attached, told by the buses its sysfs path passes."""

from __future__ import annotations

import re
from enum import StrEnum


class Transport(StrEnum):
    """How a drive is attached."""

    SATA = "SATA"
    SAS = "SAS"
    NVME = "NVMe"
    USB = "USB"
    VIRTIO = "virtio"
    SCSI = "SCSI"
    UNKNOWN = "unknown"


_TRANSPORTS = (
    (re.compile(r"/nvme\d+(?:c\d+)?n\d+|/nvme-subsystem/"), Transport.NVME),
    (re.compile(r"(?:^|/)usb\d+/"), Transport.USB),
    (re.compile(r"/ata\d+/"), Transport.SATA),
    (re.compile(r"/end_device-"), Transport.SAS),
    (re.compile(r"/virtio\d+/"), Transport.VIRTIO),
    (re.compile(r"/host\d+/(?:.*/)?target\d"), Transport.SCSI),
)


def transport_of(device_path: str) -> Transport:
    """How the device at this path is attached, by the buses it hangs on."""
    found = (transport for pattern, transport in _TRANSPORTS if pattern.search(device_path))
    return next(found, Transport.UNKNOWN)
