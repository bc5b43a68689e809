"""Which processes have a block device open: an exclusive open does not see those that share it.

Source: proc(5), /proc/PID/fd. Only root sees the files of all processes, and nobody those of
another process-id namespace.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Collection, Iterator
from contextlib import suppress
from pathlib import Path

from arraygauge.inventory.values import DeviceNumber
from arraygauge.values import frozen

_NODES = "/dev/"
"""Looked at by name first: to ask what a file is may wait, on a server that does not answer."""


@frozen
class Opener:
    """A process that has the device open, by its id and the kernel's name for it."""

    number: DeviceNumber
    process_id: int
    command: str


def read_openers(numbers: Collection[DeviceNumber]) -> tuple[Opener, ...]:
    """Every process on the running machine that has one of the devices open."""
    found: dict[tuple[DeviceNumber, int], Opener] = {}
    for process in Path("/proc").iterdir():
        if process.name.isdecimal():
            for number in _open_devices(process):
                if number in numbers:
                    opener = Opener(
                        number=number,
                        process_id=int(process.name),
                        command=_command(process),
                    )
                    found.setdefault((number, opener.process_id), opener)
    return tuple(found.values())


def _open_devices(process: Path) -> Iterator[DeviceNumber]:
    """Processes end while they are looked at; what is gone holds nothing open."""
    with suppress(OSError):
        for each in (process / "fd").iterdir():
            with suppress(OSError):
                if os.readlink(each).startswith(_NODES):
                    found = each.stat()
                    if stat.S_ISBLK(found.st_mode):
                        yield os.major(found.st_rdev), os.minor(found.st_rdev)


def _command(process: Path) -> str:
    with suppress(OSError):
        return (process / "comm").read_text(errors="replace").strip()
    return "unknown"
