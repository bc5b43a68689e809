"""The kernel's files as text: the root is injected, and failures become values.

Paths are written as on the running machine (``/sys/class/block/sda/size``); the
tree's root is put before them, so a captured machine is read exactly as a live one.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from arraygauge.inventory.problems import ProblemKind, ReadProblem
from arraygauge.values import frozen

T = TypeVar("T")

_FLAGS = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_NOCTTY
_PIECE_BYTES = 65536

_NOT_OFFERED = frozenset(
    {
        errno.ENOENT,  # this kernel, or this kind of device, has no such file
        errno.ENOTDIR,
        errno.EINVAL,  # queue/wbt_lat_usec without a throttle, device/wwid without designators
        errno.ENXIO,  # device/wwid without page 83h
        errno.ENODATA,
        errno.EOPNOTSUPP,
    }
)
_KINDS = {
    errno.EACCES: ProblemKind.DENIED,
    errno.EPERM: ProblemKind.DENIED,
    errno.ENOENT: ProblemKind.VANISHED,
    errno.ENOTDIR: ProblemKind.VANISHED,
    errno.ENODEV: ProblemKind.VANISHED,  # the device went away behind an open directory
    errno.EBUSY: ProblemKind.VANISHED,  # md's answer while an array is being deleted
}


@frozen
class Tree:
    """Where the kernel's files are: sysfs at root/sys, procfs at root/proc."""

    root: Path = Path("/")

    @property
    def is_live(self) -> bool:
        """True for the running machine, the only one whose udev can be asked."""
        return self.root == Path("/")


class Reader:
    """Reads one tree for one snapshot and keeps what went wrong in ``problems``."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.problems: list[ReadProblem] = []
        self._prefix = "" if tree.is_live else os.path.realpath(tree.root)

    def text(self, path: str, *, expected: bool = False) -> str | None:
        """The file's text without the last newline; None if it cannot be had.

        A missing file is a problem only where the kernel always has it (``expected``).
        Bytes that are no UTF-8 come as ``\\xNN``, so the text can always be printed.
        """
        content = self._content(path, expected=expected)
        if content is None:
            return None
        return content.decode("utf-8", "backslashreplace").removesuffix("\n")

    def value(
        self, path: str, parse: Callable[[str], T | None], *, expected: bool = False
    ) -> T | None:
        """The parsed text; a ValueError of ``parse`` becomes a 'malformed' problem."""
        text = self.text(path, expected=expected)
        if text is None:
            return None
        try:
            return parse(text)
        except ValueError as error:
            self.note(path, ProblemKind.MALFORMED, str(error))
            return None

    def binary(self, path: str) -> bytes | None:
        """The file's bytes, for the few attributes that are no text."""
        return self._content(path, expected=False)

    def descriptor(self, path: str) -> int | None:
        """The file open for reading, for one that is read many times; the caller closes it.

        None, with a problem noted, if it cannot be opened.
        """
        try:
            return os.open(self._prefix + path, _FLAGS)
        except OSError as error:
            self._note_error(path, error, expected=True)
        except ValueError as error:  # a NUL byte in a name
            self.note(path, ProblemKind.MALFORMED, str(error))
        return None

    def names(self, path: str) -> tuple[str, ...]:
        """The directory's entries in name order; empty where there is no such directory."""
        try:
            found = os.listdir(self._prefix + path)
        except OSError as error:
            self._note_error(path, error, expected=False)
            return ()
        except ValueError:  # a NUL byte in a name taken from a file
            return ()
        return tuple(sorted(name.encode(errors="backslashreplace").decode() for name in found))

    def exists(self, path: str) -> bool:
        """Whether the path leads to something; a link to a removed device does not."""
        try:
            return os.path.exists(self._prefix + path)
        except ValueError:
            return False

    def is_link(self, path: str) -> bool:
        """Whether the path itself is a symbolic link, wherever it leads."""
        try:
            return os.path.islink(self._prefix + path)
        except ValueError:
            return False

    def resolve(self, path: str) -> str | None:
        """The path with every link followed, as on the machine; None if it leads nowhere."""
        try:
            real = os.path.realpath(self._prefix + path, strict=True)
        except (OSError, ValueError):
            return None
        if not real.startswith(self._prefix + "/"):
            self.note(path, ProblemKind.MALFORMED, "a link out of the tree")
            return None
        return real.removeprefix(self._prefix)

    def note(self, path: str, kind: ProblemKind, detail: str) -> None:
        self.problems.append(ReadProblem(path=path, kind=kind, detail=detail))

    def _content(self, path: str, *, expected: bool) -> bytes | None:
        try:
            descriptor = os.open(self._prefix + path, _FLAGS)
            try:
                return _read_all(descriptor)
            finally:
                os.close(descriptor)
        except OSError as error:
            self._note_error(path, error, expected=expected)
        except ValueError as error:  # a NUL byte in a name taken from a file
            self.note(path, ProblemKind.MALFORMED, str(error))
        return None

    def _note_error(self, path: str, error: OSError, *, expected: bool) -> None:
        if error.errno in _NOT_OFFERED and not expected:
            return
        kind = _KINDS.get(error.errno or 0, ProblemKind.FAILED)
        self.note(path, kind, error.strerror or type(error).__name__)


def _read_all(descriptor: int) -> bytes:
    """To the end: /proc files hand out a page or so a read, however much is asked."""
    pieces = []
    while piece := os.read(descriptor, _PIECE_BYTES):
        pieces.append(piece)
    return b"".join(pieces)
