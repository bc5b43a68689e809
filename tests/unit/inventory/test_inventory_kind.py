"""Drives are told apart from everything else that is a block device."""

from __future__ import annotations

import pytest

from arraygauge.inventory import DeviceKind
from arraygauge.inventory.block_entry import head_of, parse_uevent
from arraygauge.inventory.kind import classify


def kind(name: str, path: str, *entries: str, slaves: bool = False, hidden: bool = False) -> str:
    return classify(
        name=name,
        device_path=path,
        entries=frozenset(entries),
        hidden=hidden,
        has_slaves=slaves,
        scsi_type=None,
    )


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("loop0", DeviceKind.LOOP),
        ("ram15", DeviceKind.RAM),
        ("zram0", DeviceKind.COMPRESSED_RAM),
        ("nbd3", DeviceKind.NETWORK),
        ("drbd0", DeviceKind.NETWORK),
        ("nullb0", DeviceKind.UNKNOWN),
    ],
)
def test_devices_made_by_software(name: str, expected: DeviceKind) -> None:
    assert kind(name, f"virtual/block/{name}") is expected


def test_what_the_kernel_marks_needs_no_name() -> None:
    assert kind("sda1", "x/block/sda/sda1", "partition") is DeviceKind.PARTITION
    assert kind("md_home", "virtual/block/md_home", "md") is DeviceKind.ARRAY
    assert kind("dm-0", "virtual/block/dm-0", "dm") is DeviceKind.MAPPED
    assert kind("nvme0c1n1", "x/nvme1/nvme0c1n1", hidden=True) is DeviceKind.HIDDEN_PATH


def test_a_partition_of_an_array_is_a_partition() -> None:
    assert kind("md0p1", "virtual/block/md0/md0p1", "partition") is DeviceKind.PARTITION


def test_anything_else_that_stands_on_devices_is_mapped() -> None:
    """A cache or a volume manager of another kind shows only its slaves."""
    assert kind("bcache0", "virtual/block/bcache0", slaves=True) is DeviceKind.MAPPED


def test_a_multipath_device_is_a_drive_though_it_is_virtual() -> None:
    path = "virtual/nvme-subsystem/nvme-subsys0/nvme0n1"
    assert kind("nvme0n1", path) is DeviceKind.DRIVE
    assert head_of("nvme0c3n1") == "nvme0n1"


def test_drives_over_a_network_are_not_called_drives() -> None:
    assert kind("nvme1n1", "virtual/nvme-fabrics/ctl/nvme1/nvme1n1") is DeviceKind.NETWORK
    path = "platform/host3/session1/target3:0:0/3:0:0:1/block/sdb"
    assert kind("sdb", path) is DeviceKind.NETWORK


def test_a_floppy_drive_is_never_taken_for_a_drive() -> None:
    """Opening one spins its motor."""
    assert kind("fd0", "platform/floppy.0/block/fd0") is DeviceKind.UNKNOWN


def test_uevent_lines() -> None:
    assert parse_uevent("MAJOR=8\nDEVNAME=sda\njunk\n=x\nPARTUUID=a=b") == {
        "MAJOR": "8",
        "DEVNAME": "sda",
        "PARTUUID": "a=b",
    }
