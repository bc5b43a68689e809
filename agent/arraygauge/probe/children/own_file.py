"""The agent's own file of random data, made or found again by the process that uses it.

This is the only place that opens a file for writing, and it opens none but those it
has just created itself, or such a one of an earlier run: a regular file of this user
under the name and of the size that only this gives, with no second name. All goes through
the descriptor of a directory that lies on the wanted device, so that neither a swapped
directory nor a filesystem unmounted meanwhile leads anywhere else.
"""

from __future__ import annotations

import ctypes
import errno
import fcntl
import os
import re
import stat
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from arraygauge.probe.children.file_facts import (
    DATA_JOURNALLED,
    ENCRYPTED,
    devices_below,
    flags_of,
    keep_in_place,
    lies_whole,
)
from arraygauge.probe.children.offsets import aligned_buffers

MIB = 1 << 20
PIECE_BYTES = 4 * MIB
"""Written at once, so that a stop is obeyed within one piece's time."""
FREE_SHARE, FREE_TIMES_SIZE = 0.05, 2
"""What must stay free: 5 % of the filesystem, and twice the file's own size."""
_LEFTOVER = re.compile(r"\.arraygauge-probe-\d{1,9}MiB\.random\.partial")

Number = tuple[int, int]


class OwnFileError(Exception):
    """Why there is no such file: at which step, the kernel's error number (0: none), and what
    was found. ``room`` is (bytes wanted, free, that must stay free) where room is lacking."""

    def __init__(
        self, step: str, number: int = 0, found: str = "", room: tuple[int, int, int] | None = None
    ) -> None:
        super().__init__(step, number, found, room)
        self.step, self.number, self.found, self.room = step, number, found, room


@dataclass(frozen=True, slots=True)
class Folder:
    """An open directory, and the device its filesystem lies on."""

    fd: int
    path: str
    number: Number


@dataclass(frozen=True, slots=True)
class Order:
    """What is wanted: whole MiB; whether it is to be written to; how long making it may take."""

    size: int
    to_write: bool
    making_until: int
    most_bytes: int

    @property
    def name(self) -> str:
        return f"arraygauge-probe-{self.size // MIB}MiB.random"


def open_folder(directories: Sequence[str], allowed: Sequence[Number]) -> Folder:
    """The first of the directories that lies on an allowed device, made where it is missing.

    Raises OwnFileError when there is none.
    """
    elsewhere, problem = [], None
    for path in directories:
        try:
            fd, missing = _nearest(path)
            numbers = devices_below(fd)
            if len(numbers) == 1 and numbers[0] in allowed:
                return Folder(_descend(fd, missing), path, numbers[0])
        except OSError as error:
            problem = problem or OwnFileError("folder", error.errno or errno.EIO, path)
            continue
        os.close(fd)
        elsewhere.append(f"{path} lies on {' and '.join(f'{a}:{b}' for a, b in numbers)}")
    raise problem or OwnFileError("place", found=", ".join(elsewhere))


def _nearest(path: str) -> tuple[int, list[str]]:
    """The nearest part of the path that exists, opened, and the names missing below it."""
    missing: list[str] = []
    while True:
        try:
            return os.open(path, os.O_RDONLY | os.O_DIRECTORY), missing
        except FileNotFoundError:
            path, name = os.path.split(path)
            missing.insert(0, name)


def _descend(fd: int, missing: Sequence[str]) -> int:
    for name in missing:
        with suppress(FileExistsError):
            os.mkdir(name, 0o700, dir_fd=fd)
        below = os.open(name, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW, dir_fd=fd)
        os.close(fd)
        fd = below
    return fd


def obtain(folder: Folder, order: Order, words: memoryview) -> tuple[int, bool]:
    """The file open for direct writing, and whether it was made now; bytes written to make it
    are counted in the second and third of ``words``, the first stops it. Raises OwnFileError."""
    if flags_of(folder.fd) & ENCRYPTED:
        raise OwnFileError("check", found="encrypted by its filesystem")
    if order.to_write:
        check_room(folder.fd, order.size, wanted=0)
    try:
        fd = _reused(folder.fd, order)
        made = fd is None
        fd = _made(folder.fd, order, words) if fd is None else fd
    except OSError as error:
        raise OwnFileError("make", error.errno or errno.EIO) from None
    if order.to_write and flags_of(fd) & DATA_JOURNALLED:
        os.close(fd)
        raise OwnFileError("check", found="written twice, to the journal first")
    return fd, made


def check_room(folder: int, size: int, wanted: int) -> None:
    """Raises OwnFileError when ``wanted`` more bytes would leave less than must stay free."""
    room = os.fstatvfs(folder)
    free, whole = room.f_bavail * room.f_frsize, room.f_blocks * room.f_frsize
    floor = max(round(FREE_SHARE * whole), FREE_TIMES_SIZE * size if wanted else 0)
    if free - wanted < floor:
        raise OwnFileError("room", room=(wanted, free, floor))


def _reused(folder: int, order: Order) -> int | None:
    """The file as an earlier run left it; None when it must be made (again)."""
    try:
        _check_ours(order.name, os.stat(order.name, dir_fd=folder, follow_symlinks=False))
        fd = os.open(order.name, _flags(os.O_NONBLOCK), dir_fd=folder)
    except FileNotFoundError:
        return None
    try:
        _check_ours(order.name, os.fstat(fd))
        if order.to_write:
            _lock(fd, order.name)
        if lies_whole(fd, order.size):
            return fd
    except BaseException:
        os.close(fd)
        raise
    os.close(fd)
    return None


def _flags(more: int) -> int:
    return os.O_WRONLY | os.O_DIRECT | os.O_NOFOLLOW | more


def _check_ours(name: str, found: os.stat_result) -> None:
    if not stat.S_ISREG(found.st_mode):
        raise OwnFileError("theirs", found=f"{name} is there but is not a regular file")
    if found.st_uid != os.geteuid():
        raise OwnFileError("theirs", found=f"{name} is there but belongs to user {found.st_uid}")
    if found.st_nlink > 1:
        raise OwnFileError("theirs", found=f"{name} is there but has a second name")


def _lock(fd: int, name: str) -> None:
    """Ends with the process; tells a file in use from a leftover."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise OwnFileError("busy", found=name) from None


def _made(folder: int, order: Order, words: memoryview) -> int:
    """Filled under a temporary name and renamed when whole, so none is ever half-written."""
    temporary = f".{order.name}.partial"
    _sweep(folder, temporary)
    check_room(folder, order.size, wanted=order.size)
    if order.size > order.most_bytes:
        raise OwnFileError("budget")
    fd = _created(folder, temporary)
    try:
        _lock(fd, temporary)
        keep_in_place(fd)
        _fill(fd, order, words)
        os.rename(temporary, order.name, src_dir_fd=folder, dst_dir_fd=folder)
        os.fsync(folder)
    except BaseException:
        os.close(fd)
        with suppress(OSError):
            os.unlink(temporary, dir_fd=folder)
        raise
    return fd


def _created(folder: int, name: str) -> int:
    try:
        return os.open(name, _flags(os.O_CREAT | os.O_EXCL), 0o600, dir_fd=folder)
    except OSError as error:
        if error.errno == errno.EINVAL:  # no direct I/O, noticed after the file was made
            with suppress(OSError):
                os.unlink(name, dir_fd=folder)
        raise


def _sweep(folder: int, wanted: str) -> None:
    """Remove what killed runs left half-made, of any size; only ``wanted`` must be free then."""
    for name in os.listdir(folder):
        if _LEFTOVER.fullmatch(name):
            try:
                _remove_leftover(folder, name)
            except (OwnFileError, OSError):
                if name == wanted:
                    raise


def _remove_leftover(folder: int, name: str) -> None:
    _check_ours(name, os.stat(name, dir_fd=folder, follow_symlinks=False))
    fd = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=folder)
    try:
        _check_ours(name, os.fstat(fd))
        _lock(fd, name)
        os.unlink(name, dir_fd=folder)
    finally:
        os.close(fd)


def _fill(fd: int, order: Order, words: memoryview) -> None:
    """Random data up to the size, all of it on the device at the end."""
    _allocate(fd, order.size)
    [buffer] = aligned_buffers(1, PIECE_BYTES)
    for offset in range(0, order.size, PIECE_BYTES):
        if words[0]:
            raise OwnFileError("stopped")
        if time.perf_counter_ns() > order.making_until:
            raise OwnFileError("slow")
        piece = buffer[: order.size - offset]
        piece[:] = os.urandom(len(piece))
        words[1] += len(piece)
        write_whole(fd, piece, offset)
        words[2] += len(piece)
    os.fsync(fd)


def _allocate(fd: int, size: int) -> None:
    """All its blocks at once, fallocate(2), so that room is lacking now or never. The one of
    the standard library would write zeros where the filesystem cannot."""
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.fallocate(fd, 0, ctypes.c_int64(0), ctypes.c_int64(size)) == 0:
        return
    number = ctypes.get_errno()
    if number not in (errno.EOPNOTSUPP, errno.ENOSYS):
        raise OSError(number, os.strerror(number))


def write_whole(fd: int, piece: memoryview, offset: int) -> None:
    """As often as it takes: the kernel may write a part, and says why not more when asked again."""
    while piece:
        written = os.pwritev(fd, [piece], offset)
        piece, offset = piece[written:], offset + written


def remove(folder: int, name: str, fd: int) -> None:
    """Take the name away from the open file, and from no other that may have come to have it."""
    with suppress(OSError):
        found, ours = os.stat(name, dir_fd=folder, follow_symlinks=False), os.fstat(fd)
        if (found.st_dev, found.st_ino) == (ours.st_dev, ours.st_ino):
            os.unlink(name, dir_fd=folder)
