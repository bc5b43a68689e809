"""The graph of block nodes behind each drive: pure, from description to QEMU's values.

Seen from the guest down, each node named after its drive:

===========  ==========================================================================
``-uplink``  throttle in the uplink's group; only with an uplink
``-map``     what is mapped, the rest is zeros: above the rate; only with ``mapped``
``-limit``   throttle in the drive's own group
``-faults``  fails reads; only with a bad range
``-store``   nothing, or memory
===========  ==========================================================================

Sources: QEMU's manual pages qemu-system(1) and qemu-qmp-ref(7), docs/throttle.txt.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from lab.machine import BAD_SECTOR_BYTES, BadRange, Contents, Drive

Node = dict[str, object]

STANDSTILL = {"bps-read": 0, "bps-write": 0, "bps-total": 1}
"""A throttle group's limits that let one byte a second pass, reads and writes together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """The memory files behind a drive: its data, and what of it is mapped (None: all)."""

    data_fd: int
    map_fd: int | None


def store_fds(stores: Mapping[str, Store]) -> Iterator[int]:
    """The files QEMU has to inherit."""
    for store in stores.values():
        yield store.data_fd
        if store.map_fd is not None:
            yield store.map_fd


def limits(bytes_per_second: int) -> dict[str, int]:
    """A throttle group's limits: the rate in each direction, as links are full duplex."""
    return {"bps-read": bytes_per_second, "bps-write": bytes_per_second, "bps-total": 0}


def nodes(drive: Drive, store: Store | None) -> Iterator[Node]:
    """All nodes of a drive, each after those it refers to."""
    if drive.contents is not Contents.NULL and store is not None:
        yield {"driver": "raw", "node-name": f"{drive.name}-store", "file": _file(store.data_fd)}
    else:
        null = {"driver": "null-co", "size": drive.size_bytes, "read-zeroes": True}
        yield {"node-name": f"{drive.name}-store"} | null
    if drive.bad_range is not None:
        yield _faults_node(drive.name, drive.bad_range)
    yield limit_node(drive)
    if store is not None and store.map_fd is not None:
        yield {
            "driver": "qcow2",
            "node-name": f"{drive.name}-map",
            "file": _file(store.map_fd),
            "data-file": f"{drive.name}-limit",
        }
    if drive.uplink is not None:
        yield {
            "driver": "throttle",
            "node-name": f"{drive.name}-uplink",
            "throttle-group": drive.uplink,
            "file": f"{drive.name}-{'limit' if drive.mapped is None else 'map'}",
        }


def limit_node(drive: Drive) -> Node:
    """The block node that holds a drive to its own rate."""
    return {
        "driver": "throttle",
        "node-name": f"{drive.name}-limit",
        "throttle-group": drive.name,
        "file": f"{drive.name}-{'store' if drive.bad_range is None else 'faults'}",
    }


def top_node(drive: Drive) -> str:
    """The name of the node that the guest's device reads."""
    if drive.uplink is not None:
        return f"{drive.name}-uplink"
    return f"{drive.name}-{'limit' if drive.mapped is None else 'map'}"


def _file(fd: int) -> Node:
    return {"driver": "file", "filename": f"/proc/self/fd/{fd}"}


def _faults_node(name: str, bad: BadRange) -> Node:
    """A rule fails the reads that touch one 512-byte sector: one for each bad sector of 4 KiB."""
    rule = {"event": "none", "iotype": "read", "errno": errno.EIO, "once": False}
    offsets = range(bad.start_bytes, bad.start_bytes + bad.length_bytes, BAD_SECTOR_BYTES)
    return {
        "driver": "blkdebug",
        "node-name": f"{name}-faults",
        "image": f"{name}-store",
        "inject-error": [rule | {"sector": offset // 512} for offset in offsets],
    }
