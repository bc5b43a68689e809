"""Whose counters are watched while a device is read."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from arraygauge.inventory.values import (
    BlockDevice,
    DeviceKind,
    Host,
    Level,
    Link,
    LinkKind,
    LinkRate,
)
from arraygauge.probe.watch import Watch, watch_for
from arraygauge.theory import Uplink
from invented import FAILED, array, drive, host, member


def partition(name: str, *above: str) -> BlockDevice:
    disk = name.rstrip("0123456789")
    return drive(name, kind=DeviceKind.PARTITION, disk=disk, below=(disk,), above=above)


def on_partitions(**changes: Any) -> Host:
    """md0 over sda1 and sdb1; sda2 is a partition of its own; sdc belongs to nobody."""
    bodies = [
        drive("sda", above=("sda1", "sda2")),
        drive("sdb", above=("sdb1",)),
        drive("sdc"),
        partition("sda1", "md0"),
        partition("sda2"),
        partition("sdb1", "md0"),
    ]
    mirror = array(Level.RAID1, [member("sda1", 0), member("sdb1", 1)], **changes)
    return host([mirror], bodies)


def test_over_a_member_the_array_and_the_other_partitions_are_others() -> None:
    """What is read from sda by the probe passes none of them."""
    assert watch_for(on_partitions(), "sda") == Watch(
        carriers=(("sda",),), others=("md0", "sda1", "sda2"), arrays=("md0",)
    )


def test_a_partition_s_bytes_pass_it_and_its_drive() -> None:
    watch = watch_for(on_partitions(), "sda1")
    assert watch.carriers == (("sda1",), ("sda",))
    assert watch.others == ("md0", "sda2")
    assert watch.arrays == ("md0",)


def test_an_array_s_bytes_pass_it_once_and_once_each_tier_below() -> None:
    watch = watch_for(on_partitions(), "md0")
    assert watch.carriers == (("md0",), ("sda1", "sdb1"), ("sda", "sdb"))
    assert watch.below == ()
    assert watch.others == ("sda2",)
    assert watch.arrays == ("md0",)


def test_the_members_of_a_degraded_array_carry_more_so_only_writes_tell() -> None:
    """Each missing block is worked out from the same row of all others."""
    watch = watch_for(on_partitions(degraded=1), "md0")
    assert watch.carriers == (("md0",),)
    assert watch.below == ("sda1", "sdb1", "sda", "sdb")


def test_an_array_with_an_empty_slot_counts_as_degraded_whatever_it_says() -> None:
    parity = array(
        Level.RAID5,
        [member("sda", 0), member("sdb", 1), member("sdc", **FAILED)],
        raid_disks=3,
        degraded=None,
    )
    bodies = [drive(name, above=("md0",)) for name in ("sda", "sdb", "sdc")]
    assert watch_for(host([parity], bodies), "md0").carriers == (("md0",),)


def test_a_member_of_a_degraded_array_carries_its_own_bytes_once() -> None:
    assert watch_for(on_partitions(degraded=1), "sdb1").carriers == (("sdb1",), ("sdb",))


def nested(inner_degraded: int = 0) -> Host:
    """md0 stripes over md1, a mirror of sda and sdb, and over sdc."""
    mirror = array(
        Level.RAID1,
        [member("sda", 0), member("sdb", 1)],
        name="md1",
        degraded=inner_degraded,
    )
    stripe = array(Level.RAID0, [member("md1", 0), member("sdc", 1)])
    machine = host(
        [stripe, mirror],
        [drive("sda", above=("md1",)), drive("sdb", above=("md1",)), drive("sdc", above=("md0",))],
    )
    devices = tuple(
        replace(device, above=("md0",)) if device.name == "md1" else device
        for device in machine.devices
    )
    return replace(machine, devices=devices)


def test_nested_arrays_are_watched_tier_by_tier() -> None:
    """The lowest tier holds part of the bytes only, which raises no alarm."""
    watch = watch_for(nested(), "md0")
    assert watch.carriers == (("md0",), ("md1", "sdc"), ("sda", "sdb"))
    assert set(watch.arrays) == {"md0", "md1"}


def test_below_a_degraded_inner_array_only_writes_tell() -> None:
    watch = watch_for(nested(inner_degraded=1), "md0")
    assert watch.carriers == (("md0",), ("md1", "sdc"))
    assert watch.below == ("sda", "sdb")


def test_over_a_drive_under_two_arrays_both_are_others() -> None:
    watch = watch_for(nested(), "sda")
    assert watch.others == ("md0", "md1")
    assert set(watch.arrays) == {"md0", "md1"}


def test_an_array_on_other_drives_is_not_watched() -> None:
    assert watch_for(on_partitions(), "sdc") == Watch(carriers=(("sdc",),))


def linked() -> Host:
    """sda and sdb hang on one port, sdc on a port of its own."""
    rate = LinkRate(bits_per_second_per_lane=8 * 10**9, lanes=4)
    links = [
        Link(
            link_id=name,
            kind=LinkKind.PCIE,
            name=name,
            negotiated=rate,
            maximum=rate,
            parent_id=None,
        )
        for name in ("port0", "port1")
    ]
    ports = {"sda": "port0", "sdb": "port0", "sdc": "port1"}
    return host([], [drive(name, link_ids=(port,)) for name, port in ports.items()], links)


def test_drives_that_share_a_link_are_neighbours() -> None:
    assert watch_for(linked(), "sda").neighbours == ("sdb",)
    assert watch_for(linked(), "sdc").neighbours == ()


def test_drives_behind_a_declared_uplink_are_neighbours() -> None:
    uplink = Uplink(
        name="chipset",
        devices=("sdb", "sdc"),
        read_bytes_per_second=1e9,
        write_bytes_per_second=1e9,
        full_duplex=True,
    )
    assert watch_for(linked(), "sdc", (uplink,)).neighbours == ("sdb",)
    assert watch_for(linked(), "sdb", (uplink,)).neighbours == ("sda", "sdc")


def test_drives_of_one_array_are_not_each_other_s_neighbours() -> None:
    machine = linked()
    pair = array(Level.RAID0, [member("sda", 0), member("sdb", 1)])
    bodies = [
        replace(device, above=("md0",)) if device.name != "sdc" else device
        for device in machine.devices
    ]
    assert watch_for(host([pair], bodies, machine.links), "md0").neighbours == ()


def test_every_watched_device_is_named_once() -> None:
    names = watch_for(on_partitions(), "md0").names
    assert sorted(names) == ["md0", "sda", "sda1", "sda2", "sdb", "sdb1"]


def test_a_device_that_is_not_there_is_watched_by_its_name_alone() -> None:
    assert watch_for(host(), "sdz") == Watch(carriers=(("sdz",),))
