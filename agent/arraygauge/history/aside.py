"""Setting a history aside that cannot be used: renamed, never overwritten, never deleted."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

COMPANIONS = ("-wal", "-shm")
"""Files that belong to an SQLite database (https://www.sqlite.org/wal.html, from memory)."""


def set_aside(path: Path, why: str, now_seconds: float) -> Path:
    """Rename the file and its companions to a name with the time in it; the new name.

    Nothing that exists is replaced. Raises OSError.
    """
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(now_seconds))
    chosen = next(name for name in _names(path, f"{why}-{stamp}") if not _taken(name))
    for suffix in (*COMPANIONS, ""):  # the file itself last: without it nothing is tried again
        if os.path.lexists(f"{path}{suffix}"):
            os.rename(f"{path}{suffix}", f"{chosen}{suffix}")
    return chosen


def _names(path: Path, label: str) -> Iterator[Path]:
    yield path.with_name(f"{path.name}.{label}")
    number = 2
    while True:
        yield path.with_name(f"{path.name}.{label}-{number}")
        number += 1


def _taken(path: Path) -> bool:
    return any(os.path.lexists(f"{path}{suffix}") for suffix in ("", *COMPANIONS))
