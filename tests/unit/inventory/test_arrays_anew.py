"""Only the arrays are read anew where only md has told of something: the same as reading all."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.inventory import DeviceKind, Host, MemberState
from arraygauge.inventory.host import HostSource
from captured.machines import NAMES, captured_udev, lay_out


@pytest.fixture
def levels(tmp_path: Path) -> tuple[Path, HostSource]:
    """The lab's machine with an array of each level."""
    tree = lay_out("lab_levels", tmp_path)
    return tree.root, HostSource(tree, captured_udev(tree))


def timeless(host: Host) -> Host:
    return replace(host, taken_at_seconds=0.0)


@pytest.mark.parametrize("name", NAMES)
def test_where_nothing_changed_it_is_the_same_as_reading_all(name: str, tmp_path: Path) -> None:
    tree = lay_out(name, tmp_path)
    source = HostSource(tree, captured_udev(tree))
    first = source.read()
    again = source.read_arrays()
    assert timeless(again) == timeless(first)
    assert again.taken_at_seconds > first.taken_at_seconds


@pytest.mark.parametrize("name", NAMES)
def test_before_anything_was_read_all_is(name: str, tmp_path: Path) -> None:
    tree = lay_out(name, tmp_path)
    whole = HostSource(tree, captured_udev(tree)).read()
    assert timeless(HostSource(tree, captured_udev(tree)).read_arrays()) == timeless(whole)


def test_a_member_that_failed_is_seen(levels: tuple[Path, HostSource]) -> None:
    root, source = levels
    before = source.read()
    mirror = next(array for array in before.arrays if array.degraded == 0)
    member = mirror.members[0]
    place = root / "sys/class/block" / mirror.name / "md"
    (place / f"dev-{member.name}" / "state").write_text("faulty\n")
    (place / "degraded").write_text("1\n")
    after = source.read_arrays()
    seen = after.array(mirror.name)
    assert seen is not None
    assert seen.degraded == 1
    failed = next(each for each in seen.members if each.name == member.name)
    assert failed.states == (MemberState.FAULTY,)
    assert after.devices == before.devices


def take_away(root: Path, name: str) -> None:
    """As when the kernel lets go of a device: nothing below /sys/class/block has its name."""
    (root / "sys/class/block" / name).unlink()


@pytest.mark.parametrize("name", NAMES)
def test_a_drive_that_is_gone_is_left_out_with_its_partitions(name: str, tmp_path: Path) -> None:
    tree = lay_out(name, tmp_path)
    source = HostSource(tree, captured_udev(tree))
    before = source.read()
    drive = next(each for each in before.devices if each.kind is DeviceKind.DRIVE)
    gone = {each.name for each in before.devices if drive.name in (each.name, each.disk)}
    for each in gone:
        take_away(tree.root, each)
    after = source.read_arrays()
    assert after.devices == tuple(each for each in before.devices if each.name not in gone)
    assert after.arrays == source.read().arrays


def test_an_array_that_went_away_is_left_out(levels: tuple[Path, HostSource]) -> None:
    root, source = levels
    gone = source.read().arrays[0].name
    take_away(root, gone)
    mdstat = root / "proc/mdstat"
    blocks = mdstat.read_text().split("\n\n")
    mdstat.write_text("\n\n".join(each for each in blocks if f"{gone} :" not in each))
    after = source.read_arrays()
    assert gone not in [array.name for array in after.arrays]
    assert timeless(after) == timeless(source.read())


def test_where_a_device_is_new_all_is_read(levels: tuple[Path, HostSource]) -> None:
    root, source = levels
    source.read()
    (root / "sys/class/block/vdzz").symlink_to((root / "sys/class/block/vda").resolve())
    after = source.read_arrays()
    assert "vdzz" in [device.name for device in after.devices]
