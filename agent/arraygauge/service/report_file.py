"""A report on the disk: whole or not at all, and never in place of something else."""

from __future__ import annotations

import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from arraygauge.errors import OperatorError
from arraygauge.tell.report.render import MARKER

_HEAD_BYTES = 4096


def check_place(path: Path) -> None:
    """Raises OperatorError where a report could not be written, before anything is measured
    for it: no such directory, something else in its place, or not allowed."""
    folder = path.parent
    if not folder.is_dir():
        raise OperatorError(f"{folder}: no such directory", "make it, or name another file")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OperatorError(
            f"{folder}: this user may not write there", "name a file elsewhere with --output"
        )
    _check_replaceable(path)


def write_report(path: Path, html: str) -> bool:
    """Write it, readable by all as far as the umask lets it; whether an earlier report was
    replaced. Raises OperatorError, and leaves what was there."""
    check_place(path)
    replaced = os.path.lexists(path)
    try:
        descriptor, written = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:100]}.")
        try:
            with open(descriptor, "w", encoding="utf-8", errors="replace") as file:
                file.write(html)
                file.flush()
                os.fchmod(file.fileno(), 0o666 & ~_umask())
                os.fsync(file.fileno())
            if replaced:
                Path(written).replace(path)
            else:
                os.link(written, path)  # fails where somebody else was faster
        finally:
            with suppress(FileNotFoundError):
                os.unlink(written)
    except OSError as error:
        raise OperatorError(
            f"{path}: the report was not written: {error.strerror}",
            "make room or name another file; nothing that was there has changed",
        ) from error
    return replaced


def _umask() -> int:
    """The process's, which can only be learned by setting it."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _check_replaceable(path: Path) -> None:
    """Only a report may be replaced: no other file, no link and no device."""
    remedy = "name another file, or move that one away"
    try:
        kind = os.lstat(path).st_mode
        if not stat.S_ISREG(kind):
            raise OperatorError(f"{path}: is there, and is no file that may be replaced", remedy)
        with open(path, "rb") as file:
            head = file.read(_HEAD_BYTES)
    except FileNotFoundError:
        return
    except OSError as error:
        raise OperatorError(f"{path}: {error.strerror}", remedy) from error
    if MARKER.encode() not in head:
        raise OperatorError(f"{path}: is there already, and is no report of arraygauge", remedy)
