"""The way from a drive to the CPU as links, each kept once however many drives pass it.

A new transport is one file beside this one (which hops does a device path have;
what is the link of a hop) and one line in ``_BUSES``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from arraygauge.inventory import links_pcie, links_sas, links_sata, links_usb, links_virtio
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Link

FindHops = Callable[[Reader, str], tuple[str, ...]]
ReadLink = Callable[[Reader, str], Link]

_BUSES: tuple[tuple[FindHops, ReadLink], ...] = (
    (links_sata.find_hops, links_sata.read_link),
    (links_sas.find_hops, links_sas.read_link),
    (links_usb.find_hops, links_usb.read_link),
    (links_virtio.find_hops, links_virtio.read_link),
    (links_pcie.find_hops, links_pcie.read_link),
)
"""Nearest to the drive first: a path has one storage bus, then PCI functions."""


class LinkTable:
    """Every link met so far, by id; reads each only once."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._links: dict[str, Link] = {}

    @property
    def links(self) -> tuple[Link, ...]:
        """All links, in id order."""
        return tuple(self._links[link_id] for link_id in sorted(self._links))

    def trace(self, device_path: str) -> tuple[str, ...]:
        """Ids of the links from the device up to the CPU, each read and kept."""
        hops = [
            (link_id, read) for find, read in _BUSES for link_id in find(self._reader, device_path)
        ]
        ids = [link_id for link_id, _ in hops]
        for (link_id, read), parent_id in zip(hops, [*ids[1:], None], strict=False):
            if link_id not in self._links:
                self._links[link_id] = replace(read(self._reader, link_id), parent_id=parent_id)
        return tuple(ids)
