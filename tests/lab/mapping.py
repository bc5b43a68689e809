"""What a drive knows of its own contents: an image that maps some pieces and not the others.

A QEMU image of format qcow2 whose data lies in another file: reads of what is mapped go
through to that file, at the same offset; reads of the rest are answered with zeros.
Source: QEMU, docs/interop/qcow2.txt. All numbers are big-endian.
"""

from __future__ import annotations

import struct

from lab.machine import MAPPING_BYTES, Mapped

_MAGIC = b"QFI\xfb"
_VERSION = 3
_CLUSTER_BITS = MAPPING_BYTES.bit_length() - 1
_EXTERNAL_DATA_FILE = 1 << 2
_REFCOUNT_ORDER = 4
"""Reference counts of 16 bits."""
_IN_USE_ONCE = 1 << 63
_ENTRIES = MAPPING_BYTES // 8
"""Of a table that fills one cluster."""

# The clusters of the image: header, table of reference count blocks, one such block, the
# first level of the map, and from there on its second level.
_REFCOUNT_TABLE, _REFCOUNTS, _FIRST_LEVEL, _SECOND_LEVEL = 1, 2, 3, 4


def mapping(size_bytes: int, mapped: Mapped) -> bytes:
    """The image for a drive of that size."""
    clusters = -(-size_bytes // MAPPING_BYTES)
    tables = -(-clusters // _ENTRIES)
    used = _SECOND_LEVEL + tables
    return b"".join(
        (
            _cluster(_header(size_bytes, tables)),
            _cluster(struct.pack(">Q", _REFCOUNTS * MAPPING_BYTES)),
            _cluster(struct.pack(f">{used}H", *[1] * used)),
            _cluster(_first_level(tables)),
            *(_cluster(_second_level(table, clusters, mapped)) for table in range(tables)),
        )
    )


def _header(size_bytes: int, tables: int) -> bytes:
    backing_offset = backing_length = encryption = snapshots = snapshots_offset = 0
    compatible = autoclear = 0
    length = 104
    return struct.pack(
        ">4sIQIIQIIQQIIQQQQII",
        *(_MAGIC, _VERSION, backing_offset, backing_length, _CLUSTER_BITS, size_bytes, encryption),
        *(tables, _FIRST_LEVEL * MAPPING_BYTES, _REFCOUNT_TABLE * MAPPING_BYTES, 1),
        *(snapshots, snapshots_offset, _EXTERNAL_DATA_FILE, compatible, autoclear),
        *(_REFCOUNT_ORDER, length),
    )


def _first_level(tables: int) -> bytes:
    offsets = ((_SECOND_LEVEL + table) * MAPPING_BYTES for table in range(tables))
    return struct.pack(f">{tables}Q", *(offset | _IN_USE_ONCE for offset in offsets))


def _second_level(table: int, clusters: int, mapped: Mapped) -> bytes:
    first = table * _ENTRIES
    offsets = (index * MAPPING_BYTES for index in range(first, min(first + _ENTRIES, clusters)))
    entries = [offset | _IN_USE_ONCE if mapped.is_mapped(offset) else 0 for offset in offsets]
    return struct.pack(f">{len(entries)}Q", *entries)


def _cluster(data: bytes) -> bytes:
    return data.ljust(MAPPING_BYTES, b"\0")
