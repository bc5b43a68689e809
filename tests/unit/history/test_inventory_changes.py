"""Drives and arrays are followed by what they are, not by what the kernel calls them."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.history import inventory_changes
from arraygauge.inventory.values import Level
from invented import array, drive, host, member


def told(before: object, after: object) -> list[tuple[str, str, str | None, str | None]]:
    changes = inventory_changes(before, after)  # type: ignore[arg-type]
    return [(each.name, each.what, each.before, each.after) for each in changes]


def test_the_same_machine_has_not_changed() -> None:
    one = array(Level.RAID1, [member("sda", 0), member("sdb", 1)])
    assert told(host([one]), host([one])) == []


def test_drives_come_and_go() -> None:
    assert told(host([], [drive("sda")]), host([], [drive("sdb")])) == [
        ("sda", "presence", "sda", None),
        ("sdb", "presence", None, "sdb"),
    ]


def test_a_new_name_is_not_a_new_drive() -> None:
    renamed = replace(drive("sda"), name="sdq")
    assert told(host([], [drive("sda")]), host([], [renamed])) == [("sdq", "name", "sda", "sdq")]


def test_an_array_with_another_member_or_shape_has_changed() -> None:
    before = array(Level.RAID1, [member("sda", 0), member("sdb", 1)])
    after = replace(before, members=(member("sda", 0),), raid_disks=3)
    drives = [drive("sda"), drive("sdb")]
    assert told(host([before], drives), host([after], drives)) == [
        ("md0", "members_wanted", "2", "3"),
        ("md0", "members", "invented-sda invented-sdb", "invented-sda"),
    ]


def test_a_member_by_another_name_is_the_same_member() -> None:
    before = array(Level.RAID1, [member("sda", 0)])
    after = array(Level.RAID1, [member("sdq", 0)])
    renamed = replace(drive("sda"), name="sdq")
    assert told(host([before], [drive("sda")]), host([after], [renamed])) == [
        ("sdq", "name", "sda", "sdq")
    ]
