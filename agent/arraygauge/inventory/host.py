"""One snapshot of everything: drives, what is built of them, their links and mounts."""

from __future__ import annotations

import time
from collections.abc import Collection
from dataclasses import replace

from arraygauge.inventory.block import Surroundings, read_device
from arraygauge.inventory.block_entry import BLOCK_CLASS, read_entries
from arraygauge.inventory.identities import Known, read_identities
from arraygauge.inventory.links import LinkTable
from arraygauge.inventory.machine import read_machine
from arraygauge.inventory.md_arrays import read_arrays
from arraygauge.inventory.mountinfo import MountTable, read_mounts
from arraygauge.inventory.order import natural_key
from arraygauge.inventory.stack import Entries, partitions_by_disk
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.inventory.udev import AskUdev, open_udev
from arraygauge.inventory.values import Host
from arraygauge.values import frozen


@frozen
class _Found:
    """A machine but for its arrays, and what those are read by."""

    host: Host
    entries: Entries
    known: dict[str, Known]


class HostSource:
    """The machine whose files are below ``tree``, read as often as asked.

    Nothing is opened but files of /sys, /proc and udev's database: no device node, so
    no drive is woken or asked anything. Whatever cannot be read is a value: None in
    its place and, if it should have been readable, an entry in ``Host.problems``.

    Reading md's files may wait for a hung member; use this where waiting is bounded.
    ``ask_udev`` stands for the running machine's udev where the tree is a captured one.
    """

    def __init__(self, tree: Tree | None = None, ask_udev: AskUdev | None = None) -> None:
        self._tree = tree or Tree()
        self._ask_udev = ask_udev
        self._found: _Found | None = None

    def read(self) -> Host:
        """Every block device and md array."""
        taken_at_seconds = time.time()
        self._found = self._read_devices()
        return self._with_arrays(self._found, taken_at_seconds)

    def read_arrays(self) -> Host:
        """Every md array, and the devices as they were when all was read last, but for those
        that are gone: a fraction of the work, for when nothing else is told of. All, where there
        is a device that was not there or nothing was read before."""
        taken_at_seconds = time.time()
        names = Reader(self._tree).names(BLOCK_CLASS)
        if self._found is None or not self._found.entries.keys() >= set(names):
            return self.read()
        self._found = _left(self._found, names)
        return self._with_arrays(self._found, taken_at_seconds)

    def _read_devices(self) -> _Found:
        reader = Reader(self._tree)
        machine = read_machine(reader)
        entries = read_entries(reader)
        known = read_identities(reader, entries, self._ask_udev or open_udev(self._tree))
        links = LinkTable(reader)
        around = Surroundings(
            entries=entries,
            partitions=partitions_by_disk(entries),
            known=known,
            mounts=MountTable(read_mounts(reader)),
            links=links,
        )
        devices = [read_device(reader, entry, around) for entry in entries.values()]
        present = [device for device in devices if device is not None]
        host = Host(
            name=machine.name,
            boot_id=machine.boot_id,
            kernel=machine.kernel,
            taken_at_seconds=0.0,
            devices=tuple(sorted(present, key=lambda device: natural_key(device.name))),
            arrays=(),
            links=links.links,
            problems=tuple(reader.problems),
        )
        return _Found(host=host, entries=entries, known=known)

    def _with_arrays(self, found: _Found, taken_at_seconds: float) -> Host:
        reader = Reader(self._tree)
        arrays = read_arrays(reader, found.entries, found.known)
        return replace(
            found.host,
            taken_at_seconds=taken_at_seconds,
            arrays=tuple(sorted(arrays, key=lambda array: natural_key(array.name))),
            problems=(*found.host.problems, *reader.problems),
        )


def _left(found: _Found, names: Collection[str]) -> _Found:
    """Of these, what has one of the names."""
    if len(names) == len(found.entries):
        return found
    devices = tuple(device for device in found.host.devices if device.name in names)
    return _Found(
        host=replace(found.host, devices=devices),
        entries={name: entry for name, entry in found.entries.items() if name in names},
        known={name: known for name, known in found.known.items() if name in names},
    )


def read_host(tree: Tree | None = None, ask_udev: AskUdev | None = None) -> Host:
    """Every block device and md array of that machine: see ``HostSource``."""
    return HostSource(tree, ask_udev).read()
