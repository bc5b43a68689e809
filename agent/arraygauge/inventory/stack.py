"""How block devices stand on one another: partitions, arrays, mapped devices, multipath."""

from __future__ import annotations

from collections.abc import Mapping

from arraygauge.inventory.block_entry import BlockEntry, head_of, hidden_paths
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import BlockDevice, DeviceKind, Host

Entries = Mapping[str, BlockEntry]


def devices_below(entry: BlockEntry, entries: Entries) -> tuple[str, ...]:
    """What the device is made of: its slaves, a partition's disk, a multipath device's paths."""
    if entry.disk is not None:
        return (entry.disk,)
    return tuple(sorted({*entry.slaves, *hidden_paths(entry.name, entries)}))


def partitions_by_disk(entries: Entries) -> dict[str, tuple[str, ...]]:
    """The names of each disk's partitions, for all disks that have any."""
    found: dict[str, tuple[str, ...]] = {}
    for name, entry in entries.items():
        if (disk := entry.disk) is not None:
            found[disk] = (*found.get(disk, ()), name)
    return found


def devices_above(
    entry: BlockEntry, entries: Entries, partitions: Mapping[str, tuple[str, ...]]
) -> tuple[str, ...]:
    """What is made of the device: its holders, a disk's partitions, a path's multipath device."""
    above = {*entry.holders, *partitions.get(entry.name, ())}
    if entry.kind is DeviceKind.HIDDEN_PATH and (head := head_of(entry.name)) in entries:
        above.add(head)
    return tuple(sorted(above))


def read_physical_path(reader: Reader, entry: BlockEntry, entries: Entries) -> str:
    """The device path that leads to the hardware.

    An NVMe multipath device hangs on nothing itself; one of its paths stands for it,
    an optimized one if the subsystem tells (asymmetric namespace access).
    """
    paths = hidden_paths(entry.name, entries)
    if not paths:
        return entry.device_path
    states = {path: reader.text(f"{entries[path].base}/ana_state") for path in paths}
    best = next((path for path in paths if states[path] == "optimized"), paths[0])
    return entries[best].device_path


def beneath(host: Host, name: str) -> BlockDevice | None:
    """Down from a device through what is made of one other alone, as partitions and encrypted
    devices are: the first array, drive, or device of several. None when gone."""
    device = host.device(name)
    while device is not None and device.kind is not DeviceKind.ARRAY and len(device.below) == 1:
        device = host.device(device.below[0])
    return device
