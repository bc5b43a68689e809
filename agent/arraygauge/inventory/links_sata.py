"""SATA: the link between a drive, perhaps a port multiplier, and the host port.

Kernel document: Documentation/ABI/testing/sysfs-ata (ata_link). Link state is what
libata noted when the link came up; reading it does not wake the drive.
"""

from __future__ import annotations

import re

from arraygauge.inventory.ata_identify import AtaIdentity, parse_identify
from arraygauge.inventory.sysfs_path import DEVICES, last_name
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Link, LinkKind, LinkRate

_DRIVE = re.compile(r"(.*/ata(\d+))/host\d+/target[\d:]+/\d+:(\d+):(\d+):\d+/.*")
_SPEED = re.compile(r"([0-9]{1,3}(?:\.[0-9])?) Gbps")


def find_hops(reader: Reader, device_path: str) -> tuple[str, ...]:
    """The drive's link, then the host port's if a port multiplier stands between."""
    if (match := _DRIVE.fullmatch(device_path)) is None:
        return ()
    port, number, channel = match[1], match[2], match[3]
    host_link = f"{port}/link{number}"
    # libata gives a drive behind a port multiplier the multiplier's port as its
    # SCSI channel, and the link to it the name linkN.CHANNEL.
    behind = f"{host_link}.{channel}"
    return (behind, host_link) if reader.exists(DEVICES + behind) else (host_link,)


def read_link(reader: Reader, link_id: str) -> Link:
    """One ATA link. Its maximum is what port and drive could do together, where they say."""
    name = last_name(link_id)
    state = f"{DEVICES}{link_id}/ata_link/{name}"
    limits = (
        reader.value(f"{state}/hw_sata_spd_limit", parse_speed),
        _fastest_drive(reader, link_id),
    )
    return Link(
        link_id=link_id,
        kind=LinkKind.SATA,
        name=name,
        negotiated=_one_lane(reader.value(f"{state}/sata_spd", parse_speed)),
        maximum=_one_lane(min((limit for limit in limits if limit), default=None)),
        parent_id=None,
    )


def read_identity(reader: Reader, device_path: str) -> AtaIdentity | None:
    """What the drive at this place said of itself; None for anything but an ATA drive."""
    match = _DRIVE.fullmatch(device_path)
    hops = find_hops(reader, device_path)
    if match is None or not hops:
        return None
    name = f"dev{match[2]}.{match[3]}.0" if len(hops) > 1 else f"dev{match[2]}.{match[4]}"
    return _read_identify(reader, hops[0], name)


def _fastest_drive(reader: Reader, link_id: str) -> int | None:
    drives = [name for name in reader.names(DEVICES + link_id) if name.startswith("dev")]
    identities = [_read_identify(reader, link_id, name) for name in drives]
    rates = [identity.fastest_bits_per_second for identity in identities if identity]
    return max((rate for rate in rates if rate), default=None)


def _read_identify(reader: Reader, link_id: str, name: str) -> AtaIdentity | None:
    path = f"{DEVICES}{link_id}/{name}/ata_device/{name}/id"
    if not (reader.text(path) or "").strip():  # a port multiplier has a name and no identity
        return None
    return reader.value(path, parse_identify)


def _one_lane(rate: int | None) -> LinkRate | None:
    return None if rate is None else LinkRate(bits_per_second_per_lane=rate, lanes=1)


def parse_speed(text: str) -> int | None:
    """Bits a second of ``'6.0 Gbps'``; None for '<unknown>', printed for a link that is
    down, for PATA, and for a port without a limit of its own."""
    if text.strip() == "<unknown>":
        return None
    match = _SPEED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not a SATA speed: {text[:60]!r}")
    return round(float(match[1]) * 10**9) or None
