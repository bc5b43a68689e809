"""What the kernel says about a file beyond stat(2): its flags, its extents, the device below.

Numbers of ioctls and flags: include/uapi/linux/fs.h, fiemap.h and btrfs.h. They are asked
of regular files and directories, never of devices.
"""

from __future__ import annotations

import errno
import fcntl
import os
import struct
import sys

GET_FLAGS, SET_FLAGS = 0x80086601, 0x40086602  # of a long, as on every 64-bit machine
COMPRESSED, NOT_COMPRESSED, ENCRYPTED = 0x4, 0x400, 0x800
DATA_JOURNALLED, NOT_COPIED_ON_WRITE = 0x4000, 0x800000

FIEMAP, FIEMAP_SYNC = 0xC020660B, 0x1
EXTENT_LAST, EXTENT_UNKNOWN, EXTENT_DELAYED, EXTENT_ENCODED = 0x1, 0x2, 0x4, 0x8
EXTENT_INLINE, EXTENT_UNWRITTEN, EXTENT_SHARED = 0x200, 0x800, 0x2000
_NOT_IN_PLACE = (
    EXTENT_UNKNOWN
    | EXTENT_DELAYED
    | EXTENT_ENCODED
    | EXTENT_INLINE
    | EXTENT_UNWRITTEN
    | EXTENT_SHARED
)
_EXTENTS_AT_ONCE, _HEAD, _EXTENT = 128, struct.Struct("=2Q4I"), struct.Struct("=5Q4I")

_BTRFS_FS_INFO, _BTRFS_FS_INFO_BYTES = 0x8400941F, 1024
_BTRFS_DEV_INFO, _BTRFS_DEV_INFO_BYTES, _BTRFS_PATH_AT = 0xD000941E, 4096, 3072


def flags_of(fd: int) -> int:
    """The inode's flags; 0 where the filesystem has none."""
    try:
        return int.from_bytes(fcntl.ioctl(fd, GET_FLAGS, bytes(8))[:4], sys.byteorder)
    except OSError:
        return 0


def keep_in_place(fd: int) -> None:
    """Have an empty file overwritten in place and not compressed, where that can be chosen.

    Both exist on btrfs, which takes the first on empty files only and not together with
    compression; elsewhere the kernel refuses, and nothing changes.
    """
    flags = flags_of(fd) & ~COMPRESSED
    if not _set_flags(fd, (flags | NOT_COPIED_ON_WRITE) & ~NOT_COMPRESSED):
        _set_flags(fd, flags | NOT_COMPRESSED)


def _set_flags(fd: int, flags: int) -> bool:
    try:
        fcntl.ioctl(fd, SET_FLAGS, flags.to_bytes(8, sys.byteorder))
    except OSError:
        return False
    return True


def lies_whole(fd: int, size: int) -> bool:
    """Whether all of the file lies written on its device, as it is and in blocks of its own.

    Holes and unwritten extents are read without the device; compressed extents are smaller
    than they seem; shared ones (a snapshot, a reflink) are copied when written. Where the
    filesystem does not tell its extents, its count of blocks must do.
    """
    found = os.fstat(fd)
    if found.st_size != size or found.st_blocks * 512 < size:
        return False
    reached = 0
    while reached < size:
        try:
            extents = _extents(fd, reached, size - reached)
        except OSError:
            return True
        for start, length, flags in extents:
            if start > reached or flags & _NOT_IN_PLACE:
                return False
            reached = start + length
        if not extents:
            return False
    return True


def _extents(fd: int, start: int, length: int) -> list[tuple[int, int, int]]:
    """Offset in the file, bytes and flags of the next extents."""
    room = _HEAD.pack(start, length, FIEMAP_SYNC, 0, _EXTENTS_AT_ONCE, 0)
    answer = bytearray(room + bytes(_EXTENT.size * _EXTENTS_AT_ONCE))
    fcntl.ioctl(fd, FIEMAP, answer)
    count = _HEAD.unpack_from(answer)[3]
    rows = [_EXTENT.unpack_from(answer, _HEAD.size + _EXTENT.size * row) for row in range(count)]
    return [(row[0], row[2], row[5]) for row in rows]


def devices_below(fd: int) -> list[tuple[int, int]]:
    """Numbers of the devices that the filesystem of this file lies on.

    stat(2) shows one; btrfs, which may have several and shows a number of its own making,
    is asked for them.
    """
    number = os.fstat(fd).st_dev
    shown = [(os.major(number), os.minor(number))]
    return shown if os.major(number) else _btrfs_devices(fd) or shown


def _btrfs_devices(fd: int) -> list[tuple[int, int]]:
    """None for another filesystem, and where a device of it is missing."""
    answer = bytearray(_BTRFS_FS_INFO_BYTES)
    try:
        fcntl.ioctl(fd, _BTRFS_FS_INFO, answer)
        highest, count = struct.unpack_from("=2Q", answer)
        paths = [_btrfs_path(fd, device) for device in range(1, highest + 1)]
        numbers = [os.stat(path).st_rdev for path in paths if path]
    except OSError:
        return []
    return [(os.major(number), os.minor(number)) for number in numbers if len(numbers) == count]


def _btrfs_path(fd: int, device: int) -> bytes:
    """The node of one device; nothing for a number that has been given up."""
    answer = bytearray(device.to_bytes(8, sys.byteorder).ljust(_BTRFS_DEV_INFO_BYTES, b"\0"))
    try:
        fcntl.ioctl(fd, _BTRFS_DEV_INFO, answer)
    except OSError as error:
        if error.errno == errno.ENODEV:
            return b""
        raise
    return bytes(answer[_BTRFS_PATH_AT:]).partition(b"\0")[0]
