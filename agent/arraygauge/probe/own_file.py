"""The agent's own file of random data, read where a device may not be opened raw.

This is the only place in the package that opens a file for writing, and it opens
none but those it has just created itself. Random data, written and flushed, lies
on the device as it is: nothing compresses it, holes and unwritten extents there
are none (both would be read without touching the device).
"""

from __future__ import annotations

import errno
import fcntl
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from arraygauge.probe.filesystems import why_unfit
from arraygauge.probe.stop import StopToken
from arraygauge.units import MIB, format_capacity

FREE_SHARE = 0.05
FREE_TIMES_SIZE = 2
"""What must stay free: 5 % of the filesystem, and twice the file's own size."""
PIECE_BYTES = 8 * MIB
"""Written and flushed at once, so that a stop is obeyed within one piece's time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnFile:
    """A regular file of ours, ``size_bytes`` of random data that is on the device."""

    path: Path
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why there is no such file, naming the directory and what to do; nothing was left behind."""

    detail: str


class _Unfit(Exception):  # noqa: N818 (never leaves this file)
    """Carries the detail of a Refusal out of nested steps."""


def prepare_own_file(
    directory: Path,
    size_bytes: int,
    filesystem: str,
    read_only: bool,
    stop: StopToken | None = None,
) -> OwnFile | Refusal:
    """Make the file in ``directory`` (made too where it is missing), or reuse the one there.

    ``filesystem`` and ``read_only`` are what inventory found mounted there.
    ``size_bytes`` is rounded up to whole MiB.
    """
    size = -(-size_bytes // MIB) * MIB
    unfit = why_unfit(filesystem, read_only)
    if unfit is not None:
        return Refusal(detail=f"{directory}: {unfit}")
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        with _opened(directory) as folder:
            return _reused(directory, folder, size) or _made(directory, folder, size, stop)
    except _Unfit as error:
        return Refusal(detail=f"{directory}: {error}")
    except OSError as error:
        return Refusal(detail=f"{directory}: {_in_words(error)}")


@contextmanager
def _opened(directory: Path) -> Iterator[int]:
    """Everything below goes through this descriptor: the directory cannot be swapped."""
    folder = os.open(directory, os.O_RDONLY | os.O_DIRECTORY)
    try:
        yield folder
    finally:
        os.close(folder)


def _name(size: int) -> str:
    return f"arraygauge-probe-{size // MIB}MiB.random"


def _reused(directory: Path, folder: int, size: int) -> OwnFile | None:
    """The file as an earlier run left it; None when it must be made (again)."""
    name = _name(size)
    try:
        found = os.stat(name, dir_fd=folder, follow_symlinks=False)
    except FileNotFoundError:
        return None
    _check_ours(name, found)
    whole = found.st_size == size and found.st_blocks * 512 >= size
    return OwnFile(path=directory / name, size_bytes=size) if whole else None


def _check_ours(name: str, found: os.stat_result) -> None:
    if not stat.S_ISREG(found.st_mode):
        raise _Unfit(f"{name} is there but is not a regular file; remove it")
    if found.st_uid != os.geteuid():
        raise _Unfit(f"{name} is there but belongs to user {found.st_uid}; remove it")


def _made(directory: Path, folder: int, size: int, stop: StopToken | None) -> OwnFile:
    """Filled under a temporary name and renamed when whole, so none is ever half-written."""
    _check_room(folder, size)
    name, temporary = _name(size), f".{_name(size)}.partial"
    fd = _created(folder, temporary)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)  # tells it from a leftover
        _fill(fd, size, stop)
        os.rename(temporary, name, src_dir_fd=folder, dst_dir_fd=folder)
    except BaseException:
        with suppress(FileNotFoundError):
            os.unlink(temporary, dir_fd=folder)
        raise
    finally:
        os.close(fd)
    os.fsync(folder)
    return OwnFile(path=directory / name, size_bytes=size)


def _check_room(folder: int, size: int) -> None:
    room = os.fstatvfs(folder)
    lacking = why_no_room(size, room.f_bavail * room.f_frsize, room.f_blocks * room.f_frsize)
    if lacking is not None:
        raise _Unfit(lacking)


def why_no_room(size: int, free: int, whole: int) -> str | None:
    """Why a file of ``size`` bytes should not be made with so many free of the whole. Pure."""
    floor = max(round(FREE_SHARE * whole), FREE_TIMES_SIZE * size)
    if free - size >= floor:
        return None
    return (
        f"a file of {format_capacity(size)} would leave {format_capacity(max(free - size, 0))} "
        f"free of {format_capacity(whole)}, and {format_capacity(floor)} must stay free; "
        "free some space, or name a directory elsewhere on the device"
    )


def _created(folder: int, name: str) -> int:
    """A new file; one that a killed run left half-written is removed first."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW
    try:
        return os.open(name, flags, 0o600, dir_fd=folder)
    except FileExistsError:
        _remove_leftover(folder, name)
    return os.open(name, flags, 0o600, dir_fd=folder)


def _remove_leftover(folder: int, name: str) -> None:
    fd = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=folder)
    try:
        _check_ours(name, os.fstat(fd))
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.unlink(name, dir_fd=folder)
    except BlockingIOError:
        raise _Unfit(f"another run is writing {name} now; try again when it is done") from None
    finally:
        os.close(fd)


def _fill(fd: int, size: int, stop: StopToken | None) -> None:
    left = size
    while left:
        if stop is not None and stop.is_set():
            raise _Unfit("told to stop while the file was being written")
        piece = memoryview(os.urandom(min(left, PIECE_BYTES)))
        left -= len(piece)
        while piece:
            piece = piece[os.write(fd, piece) :]
        os.fdatasync(fd)
    os.fsync(fd)
    os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)


def _in_words(error: OSError) -> str:
    remedies = {
        errno.EACCES: "this user may not write here; run as root or name another directory",
        errno.EPERM: "this user may not write here; run as root or name another directory",
        errno.EROFS: "it is mounted read-only; name a directory on a writable filesystem",
        errno.ENOSPC: "it is full; free some space, or name a directory elsewhere on the device",
        errno.EDQUOT: "this user's quota is used up; name a directory elsewhere on the device",
        errno.ENOTDIR: "it is not a directory",
        errno.ELOOP: "a symbolic link stands where the agent's own file should; remove it",
    }
    name = errno.errorcode.get(error.errno or 0, "unknown error")
    return f"{remedies.get(error.errno or 0, error.strerror)} ({name})"
