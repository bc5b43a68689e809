"""Real block devices for tests: loop devices over files, made through the kernel's own ioctls.

Constants and structures: include/uapi/linux/loop.h. Attached read-only and with
autoclear, so that the device is gone when its last user closes it, a killed test
run included.
"""

from __future__ import annotations

import fcntl
import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

LOOP_CTL_GET_FREE = 0x4C82
LOOP_CONFIGURE = 0x4C0A
LO_FLAGS_READ_ONLY = 1
LO_FLAGS_AUTOCLEAR = 4
TRIES = 10
"""Another process may take the free device between finding and configuring it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopDevice:
    node: str
    number: tuple[int, int]
    size_bytes: int


def why_no_loop_devices() -> str | None:
    """None where this user may attach them."""
    try:
        os.close(os.open("/dev/loop-control", os.O_RDWR))
    except OSError as error:
        return f"loop devices cannot be attached here: {error}"
    return None


def require_loop_devices() -> None:
    problem = why_no_loop_devices()
    if problem is not None:
        pytest.skip(problem)


def random_file(path: Path, mebibytes: int) -> Path:
    """What a device holds: data that nothing can compress, and no holes."""
    with path.open("wb") as file:
        for _ in range(mebibytes):
            file.write(os.urandom(1 << 20))
        os.fsync(file.fileno())
    return path


@contextmanager
def attached(backing: Path, block_bytes: int = 512) -> Iterator[LoopDevice]:
    """A loop device over the file, for as long as the block runs."""
    fd, node = _attach(backing, block_bytes)
    try:
        found = os.fstat(fd)
        yield LoopDevice(
            node=node,
            number=(os.major(found.st_rdev), os.minor(found.st_rdev)),
            size_bytes=os.lseek(fd, 0, os.SEEK_END),
        )
    finally:
        os.close(fd)


def _attach(backing: Path, block_bytes: int) -> tuple[int, str]:
    problem: OSError | None = None
    for _ in range(TRIES):
        node = f"/dev/loop{_free_number()}"
        fd = os.open(node, os.O_RDONLY)
        try:
            _configure(fd, backing, block_bytes)
        except OSError as error:
            os.close(fd)
            problem = error
        else:
            return fd, node
    raise AssertionError(f"no loop device could be attached: {problem}")


def _free_number() -> int:
    control = os.open("/dev/loop-control", os.O_RDWR)
    try:
        return fcntl.ioctl(control, LOOP_CTL_GET_FREE)
    finally:
        os.close(control)


def _configure(fd: int, backing: Path, block_bytes: int) -> None:
    """struct loop_config: backing descriptor, block size, struct loop_info64, reserved."""
    flags = LO_FLAGS_READ_ONLY | LO_FLAGS_AUTOCLEAR
    file = os.open(backing, os.O_RDONLY)
    try:
        info = struct.pack("=5Q4I64s64s32s2Q", *[0] * 8, flags, b"", b"", b"", 0, 0)
        fcntl.ioctl(fd, LOOP_CONFIGURE, struct.pack("=2I", file, block_bytes) + info + bytes(64))
    finally:
        os.close(file)
