"""Bytes, rates and durations: parsing what people write, printing what they read.

Rates are decimal (1 MB/s = 10**6 B/s), as drive and link rates are published;
chunk and transfer sizes are binary (KiB, MiB), as the kernel counts them.
"""

from __future__ import annotations

import re

KIB = 1024
MIB = 1024 * KIB
SECTOR_BYTES = 512
"""The kernel's sector in sysfs and diskstats, whatever the drive's own block size."""

_FACTORS = {
    "": 1,
    "B": 1,
    "kB": 10**3,
    "MB": 10**6,
    "GB": 10**9,
    "TB": 10**12,
    "KiB": KIB,
    "MiB": MIB,
    "GiB": 1024 * MIB,
    "TiB": 1024 * 1024 * MIB,
}
_QUANTITY = re.compile(r"\s*([0-9]{1,18}(?:\.[0-9]{1,18})?)\s*([A-Za-z]*)\s*")


def parse_bytes(text: str) -> int:
    """Bytes from '64 KiB', '1.5 GB' or a plain number of bytes.

    Raises ValueError naming the accepted units.
    """
    match = _QUANTITY.fullmatch(text)
    if match is None or match[2] not in _FACTORS:
        accepted = ", ".join(unit for unit in _FACTORS if unit)
        raise ValueError(f"'{text}' is not a size: write a number and one of {accepted}")
    return round(float(match[1]) * _FACTORS[match[2]])


def format_rate(bytes_per_second: float) -> str:
    """A rate in decimal MB/s, with as many digits as it can carry: '80.1 MB/s', '1640 MB/s'."""
    megabytes = bytes_per_second / 1e6
    if megabytes >= 99.95:
        return f"{megabytes:.0f} MB/s"
    if megabytes >= 0.995:
        return f"{megabytes:.1f} MB/s"
    return f"{megabytes:.3f} MB/s"


def format_binary(size_bytes: float) -> str:
    """A chunk or transfer size in KiB or MiB: '512 KiB', '1 MiB', '2.5 MiB'."""
    for unit, factor in (("GiB", 1024 * MIB), ("MiB", MIB), ("KiB", KIB)):
        if size_bytes >= factor:
            return f"{size_bytes / factor:.4g} {unit}"
    return f"{size_bytes:.0f} B"


def format_capacity(size_bytes: float) -> str:
    """A drive's or array's size in decimal units, as drives are sold: '4 TB'."""
    for unit, factor in (("TB", 10**12), ("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if size_bytes >= 0.9995 * factor:
            return f"{size_bytes / factor:.3g} {unit}"
    return f"{size_bytes:.0f} B"


def format_duration(seconds: float) -> str:
    """A duration in the largest two units that matter: '850 ms', '12.0 s', '5 h 24 min'."""
    if seconds < 1:
        return f"{seconds * 1000:.3g} ms"
    if seconds < 120:
        return f"{seconds:.1f} s"
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h"
