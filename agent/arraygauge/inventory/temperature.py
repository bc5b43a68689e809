"""Where a drive's temperature is to be read; nothing here reads it.

Reading makes the kernel send the drive a command, which waits behind a hung one and may
wake a drive or keep it awake. So the file is only found here, by its driver's name.

Kernel documents: Documentation/hwmon/sysfs-interface.rst (millidegrees Celsius),
Documentation/hwmon/drivetemp.rst. Where the nvme driver hangs its sensors, from memory:
on the controller, on the controller's PCI function in older kernels.
"""

from __future__ import annotations

import re

from arraygauge.inventory.scalars import parse_signed
from arraygauge.inventory.tree import Reader

_DRIVERS = frozenset({"nvme", "drivetemp"})
_PLACES = ("", "/hwmon", "/device/hwmon")
"""Below the disk's ``device``: NVMe, SCSI and ATA, NVMe of older kernels."""
_SENSORS = re.compile(r"hwmon[0-9]+")
_ABSOLUTE_ZERO_MILLIDEGREES = -273_150


def find_temperature_file(reader: Reader, disk: str) -> str | None:
    """The absolute path of the drive's own temp1_input; None for a drive that offers none.

    ``disk`` is the disk's directory in sysfs. The number in the path is dealt out anew
    when the driver is loaded again.
    """
    for place in _PLACES:
        directory = f"{disk}/device{place}"
        for name in filter(_SENSORS.fullmatch, reader.names(directory)):
            file = f"{directory}/{name}/temp1_input"
            if reader.text(f"{directory}/{name}/name") in _DRIVERS and reader.exists(file):
                return reader.resolve(file)
    return None


def parse_temperature(text: str) -> float:
    """Degrees Celsius from the file's millidegrees: ``'35850'`` is 35.85.

    Raises ValueError for no number, and for 0 K, the answer of an NVMe drive without one.
    """
    millidegrees = parse_signed(text)
    if millidegrees <= _ABSOLUTE_ZERO_MILLIDEGREES:
        raise ValueError(f"not a temperature: {text[:60]!r}")
    return millidegrees / 1000
