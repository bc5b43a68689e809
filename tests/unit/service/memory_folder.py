"""A folder in memory for tests that write much: a drive that others measure meanwhile, in tests
that run beside these, stays at rest."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MEMORY = "/dev/shm"


@contextmanager
def folder_in_memory() -> Iterator[Path]:
    """Below /dev/shm (shm_overview(7)), or on a disk where there is none."""
    place = MEMORY if os.access(MEMORY, os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=place) as name:
        yield Path(name)
