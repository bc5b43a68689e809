"""Opening the agent's own small files for writing: regular files, and nothing else."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path


def open_regular(path: Path, flags: int) -> int:
    """A descriptor, for the owner alone where the file is made. Raises OSError, also for what is
    there under that name and is a link, a device or anything else that must not be written to."""
    try:
        _check(os.lstat(path))  # opening a device alone can act
    except FileNotFoundError:
        if not flags & os.O_CREAT:
            raise
    fd = os.open(path, flags | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK, 0o600)
    try:
        _check(os.fstat(fd))
    except OSError:
        os.close(fd)
        raise
    return fd


def _check(found: os.stat_result) -> None:
    if stat.S_ISLNK(found.st_mode):
        raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "it is not a regular file")
