"""Filling a disk."""

from __future__ import annotations

from pathlib import Path


def fill(ballast: Path) -> None:
    """Until not even a block more has room."""
    with ballast.open("wb", buffering=0) as file:
        for size in (65536, 4096):
            try:
                while True:
                    file.write(bytes(size))
            except OSError:
                continue
