"""SAS: every port between a drive, the expanders and the host adapter.

The kernel's scsi_transport_sas: a port owns phys (``port-H:P/phy-*``); each phy has
negotiated_linkrate and maximum_linkrate_hw. A wide port has as many lanes as phys.
The rates are what the adapter last told the kernel; reading them wakes nothing.
A SATA drive on a SAS adapter is reached over such a port too.
"""

from __future__ import annotations

import re

from arraygauge.inventory.sysfs_path import DEVICES, last_name, prefixes
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Link, LinkKind, LinkRate

_PORT = re.compile(r"port-\d+:\d+(?::\d+)?")
_RATE = re.compile(r"([0-9]{1,3}(?:\.[0-9])?) Gbit")
_NO_RATE = frozenset(
    {"Unknown", "Phy disabled", "Link Rate failed", "Spin-up hold", "SATA spinup hold"}
)


def find_hops(_reader: Reader, device_path: str) -> tuple[str, ...]:
    """The SAS ports on the way, from the device up."""
    return prefixes(device_path, _PORT)


def read_link(reader: Reader, link_id: str) -> Link:
    """One port: the slowest phy's rate times the phys that have one."""
    return Link(
        link_id=link_id,
        kind=LinkKind.SAS,
        name=last_name(link_id),
        negotiated=_read_rate(reader, link_id, "negotiated_linkrate"),
        maximum=_read_rate(reader, link_id, "maximum_linkrate_hw"),
        parent_id=None,
    )


def _read_rate(reader: Reader, link_id: str, attribute: str) -> LinkRate | None:
    port = f"{DEVICES}{link_id}"
    phys = [name for name in reader.names(port) if name.startswith("phy-")]
    texts = [f"{port}/{phy}/sas_phy/{phy}/{attribute}" for phy in phys]
    rates = [rate for path in texts if (rate := reader.value(path, parse_linkrate))]
    if not rates:
        return None
    return LinkRate(bits_per_second_per_lane=min(rates), lanes=len(rates))


def parse_linkrate(text: str) -> int | None:
    """Bits a second of ``'12.0 Gbit'``; None for the kernel's words for no link."""
    if text.strip() in _NO_RATE:
        return None
    match = _RATE.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not a SAS link rate: {text[:60]!r}")
    return round(float(match[1]) * 10**9) or None
