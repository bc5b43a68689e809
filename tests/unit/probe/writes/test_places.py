"""Which array or drive a configured directory lies on, by its path and the mounts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.inventory.values import BlockDevice, DeviceKind, Host, Level, Mount
from arraygauge.probe.writes.places import mount_of, place_of
from invented import array, drive, host, member


def mount(point: str, filesystem: str = "ext4", number: tuple[int, int] = (9, 0)) -> Mount:
    return Mount(
        device_number=number,
        mount_point=point,
        root="/",
        filesystem=filesystem,
        source="/dev/invented",
        options=("rw",),
    )


ROOT, FILMS = mount("/", number=(8, 1)), mount("/mnt/films")
NETWORK, LAYERS = (
    mount("/mnt/films/share", "nfs4", (0, 40)),
    mount("/mnt/layers", "overlay", (0, 41)),
)
MOUNTS = (ROOT, FILMS, NETWORK, LAYERS)


def machine(*more: BlockDevice, films_on: str = "md0") -> Host:
    """md0 with /mnt/films, and a drive whose partition holds the root."""
    made = host([array(Level.RAID1, [member("sda", 0), member("sdb", 1)])])
    partition = drive("sdc1", kind=DeviceKind.PARTITION, below=("sdc",), mounts=(ROOT,))
    devices = (*made.devices, drive("sdc"), partition, *more)
    return replace(
        made,
        devices=tuple(
            replace(each, mounts=(FILMS,)) if each.name == films_on else each for each in devices
        ),
    )


@pytest.mark.parametrize(
    ("directory", "device", "target"),
    [
        ("/mnt/films/own", "md0", "md0"),
        ("/mnt/films", "md0", "md0"),
        ("/mnt/filmsandmore", "sdc1", "sdc"),
        ("/home/own", "sdc1", "sdc"),
    ],
)
def test_a_directory_lies_on_the_mount_with_the_longest_path_above_it(
    directory: str, device: str, target: str
) -> None:
    place = place_of(machine(), MOUNTS, Path(directory))
    assert (place.device, place.target, place.why_none) == (device, target, None)


def test_of_two_mounts_at_one_point_the_later_covers_the_first() -> None:
    later = mount("/mnt/films", number=(9, 1))
    assert mount_of((*MOUNTS, later), Path("/mnt/films/own")) is later


@pytest.mark.parametrize(
    ("directory", "words"),
    [("/mnt/films/share/own", "another machine"), ("/mnt/layers/own", "stacked")],
)
def test_network_and_overlay_are_refused_with_the_reason(directory: str, words: str) -> None:
    place = place_of(machine(), MOUNTS, Path(directory))
    assert place.target is None
    assert words in (place.why_none or "")
    assert directory in (place.why_none or "")


def test_a_volume_on_the_array_is_the_array_s_and_one_on_two_devices_nobody_s() -> None:
    on_one = drive("dm-0", kind=DeviceKind.MAPPED, below=("md0",))
    place = place_of(machine(on_one, films_on="dm-0"), MOUNTS, Path("/mnt/films/own"))
    assert (place.device, place.target) == ("dm-0", "md0")
    on_two = replace(on_one, below=("md0", "sdc"))
    place = place_of(machine(on_two, films_on="dm-0"), MOUNTS, Path("/mnt/films/own"))
    assert place.target is None
    assert "several devices" in (place.why_none or "")


def test_without_any_mount_above_it_lies_nowhere() -> None:
    assert place_of(machine(), (), Path("/mnt")).why_none == "/mnt is on no mount"
