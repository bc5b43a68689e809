"""Real filesystems for tests: made on loop devices over files in memory, mounted for a while."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from arraygauge.inventory.mountinfo import parse_mount
from arraygauge.inventory.values import DeviceNumber, Mount
from arraygauge.probe.writes.values import HostedFilesystem
from unit.probe.loop_device import why_no_loop_devices

MIB = 1 << 20
MAKE = {
    "ext4": ["mkfs.ext4", "-q", "-F"],
    "xfs": ["mkfs.xfs", "-q", "-f"],
    "btrfs": ["mkfs.btrfs", "-q", "-f"],
}
MEMORY = Path("/dev/shm")


def require_filesystem(kind: str) -> None:
    problem = why_no_loop_devices()
    if problem is None and os.geteuid() != 0:
        problem = "only root can mount"
    if problem is None and shutil.which(MAKE[kind][0]) is None:
        problem = f"{MAKE[kind][0]} is not installed"
    if problem is None and kind not in Path("/proc/filesystems").read_text().split():
        problem = f"this kernel has no {kind}"
    if problem is not None:
        pytest.skip(problem)


@contextmanager
def mounted_filesystem(
    kind: str, mebibytes: int, options: str = "loop", make: tuple[str, ...] = ()
) -> Iterator[Path]:
    """A fresh filesystem of that kind, mounted while the block runs; skips where none can be."""
    require_filesystem(kind)
    with tempfile.TemporaryDirectory(dir=MEMORY) as memory, tempfile.TemporaryDirectory() as below:
        image = Path(memory, "image")
        image.touch()
        os.truncate(image, mebibytes * MIB)
        subprocess.run([*MAKE[kind], *make, image], check=True, capture_output=True)
        subprocess.run(["mount", "-o", options, image, below], check=True)
        try:
            yield Path(below)
        finally:
            subprocess.run(["umount", below], check=True)


def hosted(directory: Path, kind: str = "ext4", *options: str) -> tuple[HostedFilesystem, ...]:
    """The filesystem of that directory, as inventory would show it."""
    return (hosted_at(directory, number_of(directory), kind, *options),)


def hosted_at(directory: Path, number: DeviceNumber, kind: str, *options: str) -> HostedFilesystem:
    mount = Mount(
        device_number=number,
        mount_point=str(directory),
        root="/",
        filesystem=kind,
        source="/dev/invented",
        options=("rw", *options),
    )
    return HostedFilesystem(mount=mount, device="md0", number=number, unfit=None)


def number_of(directory: Path) -> DeviceNumber:
    """What stat(2) shows, which for btrfs is none of a device: that of its source then."""
    for line in Path("/proc/self/mountinfo").read_text().splitlines():
        mount = parse_mount(line)
        if mount.mount_point == str(directory) and mount.filesystem == "btrfs":
            device = os.stat(mount.source).st_rdev
            return os.major(device), os.minor(device)
    device = directory.stat().st_dev
    return os.major(device), os.minor(device)


@contextmanager
def too_small_a_device() -> Iterator[Path]:
    """An ext4 of 256 MiB over a sparse file in a memory filesystem of 16 MiB: writes fail."""
    require_filesystem("ext4")
    with tempfile.TemporaryDirectory() as memory, tempfile.TemporaryDirectory() as below:
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16M", "tmpfs", memory], check=True)
        try:
            image = Path(memory, "image")
            image.touch()
            os.truncate(image, 256 * MIB)
            subprocess.run([*MAKE["ext4"], image], check=True, capture_output=True)
            subprocess.run(["mount", "-o", "loop", image, below], check=True)
            try:
                yield Path(below)
            finally:
                subprocess.run(["umount", below], check=True)
        finally:
            subprocess.run(["umount", "-l", memory], check=True)
