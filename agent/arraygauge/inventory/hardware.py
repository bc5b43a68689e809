"""Who a drive is: model, serial and world-wide name, from where each transport puts them.

Kernel documents: Documentation/ABI/stable/sysfs-block, sysfs-devices-... of SCSI
(vpd_pg80, wwid), the nvme driver's attributes. No command goes to the drive: the
kernel keeps what the drive said when it was found.
"""

from __future__ import annotations

import re

from arraygauge.inventory import links_sata, links_usb
from arraygauge.inventory.block_entry import BlockEntry
from arraygauge.inventory.scalars import parse_count, parse_label
from arraygauge.inventory.sysfs_path import DEVICES
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.udev import Properties
from arraygauge.values import frozen

_UNIT_SERIAL_PAGE = 0x80
_ENCODED = re.compile(r"\\x([0-9a-f]{2})")


@frozen
class Hardware:
    """A drive's own words about itself, None where it gave none."""

    model: str | None
    serial: str | None
    wwid: str | None
    """The kernel's wwid attribute: 'naa.…', 'eui.…', 'uuid.…', 'nvme.…' or 't10.…'."""
    namespace: int | None
    """Which NVMe namespace of its controller; None for every other drive."""


def read_hardware(reader: Reader, entry: BlockEntry, known: Properties) -> Hardware:
    """The kernel's word first, then udev's (``known``), which also asked behind USB bridges."""
    identity = links_sata.read_identity(reader, entry.device_path)
    return Hardware(
        model=(identity.model if identity else None)
        or _read_model(reader, entry.base)
        or _udev_model(known),
        serial=(identity.serial if identity else None)
        or _read_serial(reader, entry)
        or parse_label(known.get("ID_SERIAL_SHORT", "")),
        wwid=_first_label(reader, f"{entry.base}/wwid", f"{entry.base}/device/wwid"),
        namespace=reader.value(f"{entry.base}/nsid", parse_count),
    )


def _read_model(reader: Reader, base: str) -> str | None:
    """NVMe and SCSI say 'model', MMC says 'name'; SCSI keeps the maker's name apart."""
    model = _first_label(reader, f"{base}/device/model")
    if model is None:
        return _first_label(reader, f"{base}/device/name")
    maker = None
    if reader.exists(f"{base}/device/type"):
        maker = _first_label(reader, f"{base}/device/vendor")
    if maker in (None, "ATA") or model.startswith(maker):
        return model
    return f"{maker} {model}"


def _read_serial(reader: Reader, entry: BlockEntry) -> str | None:
    page = reader.binary(f"{entry.base}/device/vpd_pg80")
    usb = links_usb.find_hops(reader, entry.device_path)
    return (
        _first_label(reader, f"{entry.base}/serial", f"{entry.base}/device/serial")
        or (parse_unit_serial(page) if page else None)
        or (_first_label(reader, f"{DEVICES}{usb[0]}/serial") if usb else None)
    )


def _first_label(reader: Reader, *paths: str) -> str | None:
    labels = (reader.value(path, parse_label) for path in paths)
    return next((label for label in labels if label), None)


def parse_unit_serial(page: bytes) -> str | None:
    """The serial in SCSI's page 80h: four bytes of head, the length in the last two (SPC)."""
    if len(page) < 4 or page[1] != _UNIT_SERIAL_PAGE:
        return None
    length = int.from_bytes(page[2:4], "big")
    return parse_label(page[4 : 4 + length].decode("latin-1"))


def _udev_model(known: Properties) -> str | None:
    """udev writes blanks as ``\\x20`` in ID_MODEL_ENC."""
    text = _ENCODED.sub(lambda match: chr(int(match[1], 16)), known.get("ID_MODEL_ENC", ""))
    return parse_label(text)
