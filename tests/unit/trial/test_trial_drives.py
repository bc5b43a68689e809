"""Which drives may not be erased, as far as the kernel shows: pure, on invented hosts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.errors import UnknownDeviceError
from arraygauge.inventory.openers import Opener
from arraygauge.inventory.swaps import parse_swaps
from arraygauge.inventory.values import BlockDevice, DeviceKind, Host, Mount
from arraygauge.trial.clearance import check_root
from arraygauge.trial.drives import RefusedError, Surroundings, forbidden, named_drives
from invented import drive, host

QUIET = Surroundings(swaps=(), openers=())


def with_devices(*devices: BlockDevice) -> Host:
    return replace(host(), devices=devices)


def part(of: BlockDevice, **changes: object) -> BlockDevice:
    plain = drive(f"{of.name}1", kind=DeviceKind.PARTITION, disk=of.name, below=(of.name,))
    return replace(plain, **changes)  # type: ignore[arg-type]


def mount(point: str) -> Mount:
    return Mount(
        device_number=(8, 1),
        mount_point=point,
        root="/",
        filesystem="ext4",
        source="/dev/sda1",
        options=("rw",),
    )


def test_a_free_drive_is_not_forbidden() -> None:
    device = drive("sda")
    assert forbidden(with_devices(device), device, QUIET) == ()


@pytest.mark.parametrize("point", ["/", "/boot", "/home", "/usr", "/var"])
def test_the_systems_drive_is_forbidden_however_deep_the_system_lies(point: str) -> None:
    disk = drive("sda", above=("sda1",))
    first = part(disk, above=("dm-0",))
    mapped = drive("dm-0", kind=DeviceKind.MAPPED, below=("sda1",), mounts=(mount(point),))
    told = forbidden(with_devices(disk, first, mapped), disk, QUIET)
    assert f"the running system is on it: {point} is mounted from dm-0" in told


def test_swap_openers_and_state_are_told() -> None:
    device = drive("sda", read_only=True)
    opener = Opener(number=device.number, process_id=77, command="copying")
    around = Surroundings(swaps=("sda",), openers=(opener,))
    told = forbidden(with_devices(device), device, around)
    assert told == (
        "the kernel has it read-only",
        "the kernel swaps to sda",
        "process 77 (copying) has it open",
    )


def test_only_whole_drives_are_erased() -> None:
    disk = drive("sda", above=("sda1",))
    first = part(disk)
    assert forbidden(with_devices(disk, first), disk, QUIET) == ("it has a partition, sda1",)
    assert "no whole drive" in forbidden(with_devices(disk, first), first, QUIET)[0]


def test_a_name_that_can_move_is_refused_with_the_one_that_cannot() -> None:
    device = drive("sda")
    for name in ("sda", "/dev/sda", device.serial or ""):
        with pytest.raises(RefusedError) as told:
            named_drives(with_devices(device), [name])
        assert device.stable_id in told.value.remedy


def test_unknown_repeated_and_ambiguous_ids_are_refused() -> None:
    device, twin = drive("sda"), drive("sdb", stable_id="invented-sda")
    with pytest.raises(UnknownDeviceError):
        named_drives(with_devices(device), ["invented-*"])
    with pytest.raises(RefusedError, match="twice"):
        named_drives(with_devices(device), ["invented-sda", "invented-sda"])
    with pytest.raises(RefusedError, match="several devices"):
        named_drives(with_devices(device, twin), ["invented-sda"])


def test_swaps_are_read_with_blanks_in_their_names() -> None:
    text = "Filename\tType\tSize\n/dev/sda2  partition 1 0 -2\n/my\\040swap file 1 0 -3\n"
    assert parse_swaps(text) == ("/dev/sda2", "/my swap")
    assert parse_swaps("") == ()


def test_nobody_but_root_gets_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    with pytest.raises(RefusedError, match="only root may"):
        check_root()
