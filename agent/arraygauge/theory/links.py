"""What a link carries: from its signalling rate to the rate of the data inside.

Two steps, each with its source. *Encoding* turns signalled bits into payload
bits: 8b/10b (SATA, SAS to 12 Gb/s, PCIe to 5 GT/s, USB at 5 Gb/s), 128b/130b
(PCIe 8 to 32 GT/s), 128b/132b (USB from 10 Gb/s a lane), 128b/150b (SAS 22.5 Gb/s)
and 242 of 256 bytes (PCIe 64 GT/s flits). *Packets* then cost PCIe a header each
and the link's own acknowledgements, by the model of Neugebauer et al., SIGCOMM
2018 (constants from the authors' public model).
"""

from __future__ import annotations

from enum import StrEnum
from math import inf

from arraygauge.inventory.values import LinkKind, LinkRate
from arraygauge.theory.values import Direction

COMPLETION_OVERHEAD_BYTES = 20
"""PCIe framing, header and completion fields around each read completion."""
REQUEST_OVERHEAD_BYTES = 24
"""PCIe framing, header and address fields around each memory write."""
ASSUMED_PACKET_PAYLOAD_BYTES = 256
"""Maximum payload size where nothing says otherwise: what current platforms negotiate."""

_DATA_LINK_PACKET_BYTES = 8
_SKIP_SHARE = 4 / 1538
_ACKNOWLEDGE_INTERVAL_BYTES = {
    1: (237, 416, 559),
    2: (128, 217, 289),
    4: (73, 118, 154),
    8: (67, 107, 86),
    16: (48, 72, 86),
}
"""Bytes between acknowledgements at 2.5 GT/s, by lanes, for payloads of 128, 256 and
512 bytes. The x4 and x8 rows follow from the published 8 GT/s values less the
generation's 96; the others are from memory of the base specification."""
_PAYLOAD_COLUMNS = (128, 256, 512)


class Encoding(StrEnum):
    """Bits of payload in bits signalled, as the standards write them."""

    B8_10 = "8b/10b"
    B64_66 = "64b/66b"
    B128_130 = "128b/130b"
    B128_132 = "128b/132b"
    B128_150 = "128b/150b"
    FLIT = "242B/256B"
    NONE = "none"

    @property
    def efficiency(self) -> float:
        if self is Encoding.NONE:
            return 1.0
        payload, signalled = (int(part.rstrip("bB")) for part in self.split("/"))
        return payload / signalled


def payload_bytes_per_second(kind: LinkKind, rate: LinkRate) -> float:
    """Bytes per second per direction after encoding, before packets."""
    return encoded_bytes_per_second(encoding_of(kind, rate), rate)


def encoded_bytes_per_second(encoding: Encoding, rate: LinkRate) -> float:
    """Bytes per second per direction that an encoding leaves of a signalling rate."""
    return rate.bits_per_second_per_lane / 8 * rate.lanes * encoding.efficiency


def data_bytes_per_second(
    kind: LinkKind,
    rate: LinkRate,
    direction: Direction,
    packet_payload_bytes: int = ASSUMED_PACKET_PAYLOAD_BYTES,
) -> float:
    """Bytes per second of user data one direction can carry, packets paid for.

    For SATA, SAS and USB the payload rate is returned: their frame overhead is a
    few per cent and depends on the bridge, so the payload rate stands as a ceiling.
    """
    payload = payload_bytes_per_second(kind, rate)
    if kind is not LinkKind.PCIE:
        return payload
    overhead = COMPLETION_OVERHEAD_BYTES if direction is Direction.WRITE else REQUEST_OVERHEAD_BYTES
    usable = payload * _transaction_share(rate, packet_payload_bytes)
    return usable * packet_payload_bytes / (packet_payload_bytes + overhead)


def encoding_of(kind: LinkKind, rate: LinkRate) -> Encoding:
    """The encoding a kind of link uses at that signalling rate."""
    gigabits = rate.bits_per_second_per_lane / 1e9
    steps = _ENCODINGS.get(kind, ((inf, Encoding.NONE),))
    return next(encoding for most, encoding in steps if gigabits <= most)


_ENCODINGS: dict[LinkKind, tuple[tuple[float, Encoding], ...]] = {
    LinkKind.SATA: ((inf, Encoding.B8_10),),
    LinkKind.SAS: ((12, Encoding.B8_10), (inf, Encoding.B128_150)),
    LinkKind.USB: ((4.9, Encoding.NONE), (9.9, Encoding.B8_10), (inf, Encoding.B128_132)),
    LinkKind.PCIE: ((5, Encoding.B8_10), (32, Encoding.B128_130), (inf, Encoding.FLIT)),
}
"""By the highest signalling rate of a lane, in Gb/s, that still uses it."""


def _transaction_share(rate: LinkRate, packet_payload_bytes: int) -> float:
    """Share of the payload rate left to transactions by acknowledgements, credits and skips."""
    gigatransfers = rate.bits_per_second_per_lane / 1e9
    if gigatransfers > 32:
        return 1.0  # flits carry them inside the 14 bytes that the encoding already takes
    column = max(i for i, size in enumerate(_PAYLOAD_COLUMNS) if size <= packet_payload_bytes)
    row = _ACKNOWLEDGE_INTERVAL_BYTES[
        max(n for n in _ACKNOWLEDGE_INTERVAL_BYTES if n <= rate.lanes)
    ]
    delay = 0 if gigatransfers <= 2.5 else 51 if gigatransfers <= 5 else 96
    interval = row[column] + delay
    return 1 - 2 * _DATA_LINK_PACKET_BYTES / interval - _SKIP_SHARE
