"""What decides whether a drive may be probed now: sync, sleep and where its temperature is."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory import SyncAction
from arraygauge.inventory.host import read_host
from arraygauge.inventory.runtime_power import is_asleep
from arraygauge.inventory.sync_action import read_sync_action
from arraygauge.inventory.temperature import find_temperature_file, parse_temperature
from arraygauge.inventory.tree import Reader, Tree
from captured.archive import unpack
from captured.machines import lay_out

SENSOR = "/sys/class/block/sda/device/hwmon/hwmon4"


@pytest.mark.parametrize(
    ("machine", "array", "action"),
    [
        ("lab_degraded", "md2", SyncAction.RECOVER),
        ("lab_levels", "md5", SyncAction.IDLE),
        ("lab_levels", "md0", None),
        ("lab_levels", "md77", None),
    ],
)
def test_one_array_s_sync_action(
    tmp_path: Path, machine: str, array: str, action: SyncAction | None
) -> None:
    """A striped array cannot sync, and an array that is not there does not."""
    assert read_sync_action(array, lay_out(machine, tmp_path)) is action


def test_sync_action_is_the_snapshot_s(tmp_path: Path) -> None:
    tree = lay_out("lab_reshape", tmp_path)
    arrays = read_host(tree).arrays
    assert arrays
    for array in arrays:
        assert read_sync_action(array.name, tree) == array.sync_action


@pytest.mark.parametrize(
    ("status", "asleep"),
    [("suspended", True), ("suspending", True), ("active", False), ("unsupported", False)],
)
def test_only_a_suspended_device_sleeps(tmp_path: Path, status: str, asleep: bool) -> None:
    """Words of Documentation/ABI/testing/sysfs-devices-power."""
    unpack(f"file sys/x/power/runtime_status\n\t{status}\n", tmp_path)
    assert is_asleep(Reader(Tree(root=tmp_path)), "/sys/x") is asleep
    assert not is_asleep(Reader(Tree(root=tmp_path)), "/sys/y")


def sensor(root: Path, text: str) -> str | None:
    """What is found for sda where these entries are all there is."""
    reader = Reader(Tree(root=unpack(text, root)))
    found = find_temperature_file(reader, "/sys/class/block/sda")
    assert reader.problems == []
    return found


def test_a_drive_s_sensor_is_found_by_its_driver_s_name(tmp_path: Path) -> None:
    text = f"file {SENSOR[1:]}/name\n\tdrivetemp\nfile {SENSOR[1:]}/temp1_input\n\t31000\n"
    assert sensor(tmp_path, text) == f"{SENSOR}/temp1_input"


def test_another_driver_s_sensor_is_not_the_drive_s(tmp_path: Path) -> None:
    text = f"file {SENSOR[1:]}/name\n\tinvented\nfile {SENSOR[1:]}/temp1_input\n\t31000\n"
    assert sensor(tmp_path, text) is None


def test_a_sensor_without_a_temperature_offers_none(tmp_path: Path) -> None:
    assert sensor(tmp_path, f"file {SENSOR[1:]}/name\n\tdrivetemp\n") is None


def test_a_multipath_drive_has_the_sensor_of_its_path(tmp_path: Path) -> None:
    tree = lay_out("lab_transports", tmp_path)
    path = (tmp_path / "sys/class/block/nvme0c0n1").resolve().parent
    unpack("file hwmon1/name\n\tnvme\nfile hwmon1/temp1_input\n\t35850\n", path)
    drive = read_host(tree).device("nvme0n1")
    assert drive is not None
    assert str(drive.temperature_file).endswith("/nvme/nvme0/hwmon1/temp1_input")


def test_temperatures_are_millidegrees_celsius() -> None:
    """Documentation/hwmon/sysfs-interface.rst."""
    assert parse_temperature("35850\n") == 35.85
    assert parse_temperature("-5000") == -5.0


@pytest.mark.parametrize("text", ["", "warm", "35.85", "-273150", "-300000"])
def test_what_cannot_be_a_temperature_is_refused(text: str) -> None:
    """An NVMe drive's 0 K stands for 'not told': it is what an unset field reads as."""
    with pytest.raises(ValueError, match="not a"):
        parse_temperature(text)


@given(st.text())
def test_any_text_is_parsed_or_refused(text: str) -> None:
    with suppress(ValueError):
        parse_temperature(text)
