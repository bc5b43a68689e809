"""One snapshot of everything: drives, what is built of them, their links and mounts."""

from __future__ import annotations

import time

from arraygauge.inventory.block import Surroundings, read_device
from arraygauge.inventory.block_entry import read_entries
from arraygauge.inventory.identities import read_identities
from arraygauge.inventory.links import LinkTable
from arraygauge.inventory.machine import read_machine
from arraygauge.inventory.md_arrays import read_arrays
from arraygauge.inventory.mountinfo import MountTable, read_mounts
from arraygauge.inventory.order import natural_key
from arraygauge.inventory.stack import partitions_by_disk
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.inventory.udev import AskUdev, open_udev
from arraygauge.inventory.values import Host


def read_host(tree: Tree | None = None, ask_udev: AskUdev | None = None) -> Host:
    """Every block device and md array of the machine whose files are below ``tree``.

    Nothing is opened but files of /sys, /proc and udev's database: no device node, so
    no drive is woken or asked anything. Whatever cannot be read is a value: None in
    its place and, if it should have been readable, an entry in ``Host.problems``.

    Reading md's files may wait for a hung member; call this where waiting is bounded.
    ``ask_udev`` stands for the running machine's udev where the tree is a captured one.
    """
    tree = tree or Tree()
    reader = Reader(tree)
    taken_at_seconds = time.time()
    machine = read_machine(reader)
    entries = read_entries(reader)
    known = read_identities(reader, entries, ask_udev or open_udev(tree))
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
    arrays = read_arrays(reader, entries, known)
    return Host(
        name=machine.name,
        boot_id=machine.boot_id,
        kernel=machine.kernel,
        taken_at_seconds=taken_at_seconds,
        devices=tuple(sorted(present, key=lambda device: natural_key(device.name))),
        arrays=tuple(sorted(arrays, key=lambda array: natural_key(array.name))),
        links=links.links,
        problems=tuple(reader.problems),
    )
