"""One daemon owns a history: an advisory lock that ends with its process.

The lock is flock(2) on a file beside the history. It is not on the history itself: closing any
descriptor of that file would drop the locks SQLite holds on it (fcntl(2), record locks).
"""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path
from types import TracebackType
from typing import Self

from arraygauge.errors import OperatorError
from arraygauge.history.problems import HistoryError, HistoryProblem, history_error
from arraygauge.history.regular import open_regular


class Ownership:
    """Held until closed, or until the process ends however it ends."""

    def __init__(self, path: Path, fd: int) -> None:
        self.path = path
        self._fd = fd

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        fd, self._fd = self._fd, -1
        if fd >= 0:
            os.close(fd)


class OwnedError(OperatorError):
    """Another process owns the history."""


def own_history(path: Path) -> Ownership:
    """Own the history at ``path``, which need not exist yet; its directory is made.

    Raises OwnedError naming the owner's process id, HistoryError where no lock can be made.
    """
    lock = path.with_name(path.name + ".lock")
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fd = open_regular(lock, os.O_RDWR | os.O_CREAT)
    except OSError as error:
        raise directory_error(path, error) from error
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        owner = os.pread(fd, 32, 0).decode("ascii", "replace").strip() or "unknown"
        os.close(fd)
        raise OwnedError(
            f"{path}: owned by another arraygauge, process {owner}",
            "end that one first, or give this one another STATE_DIRECTORY",
        ) from None
    _sign(fd)
    return Ownership(path, fd)


def _sign(fd: int) -> None:
    """The process id is for people only: a full disk does not keep anybody from owning."""
    try:
        os.ftruncate(fd, 0)
        os.pwrite(fd, f"{os.getpid()}\n".encode("ascii"), 0)
    except OSError:
        return


def directory_error(path: Path, error: OSError) -> HistoryError:
    """Why nothing can be made beside ``path``."""
    if error.errno in (errno.ENOTDIR, errno.EEXIST):
        where = f"{path.parent} is not a directory"
        return history_error(path, HistoryProblem.DENIED, where)
    kind = HistoryProblem.FAILED
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        kind = HistoryProblem.FULL
    elif error.errno in (errno.EACCES, errno.EPERM, errno.EROFS, errno.ELOOP):
        kind = HistoryProblem.DENIED
    return history_error(path, kind, error.strerror)
