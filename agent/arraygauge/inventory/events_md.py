"""md's pollable files: the kernel wakes whoever polls them for POLLPRI and POLLERR.

Kernel documents: Documentation/admin-guide/md.rst (which attributes can be polled) and
Documentation/filesystems/sysfs.rst (read once, then poll; read from the start to arm
again). /proc/mdstat works the same way: mdstat_poll in drivers/md/md.c.
"""

from __future__ import annotations

import os
import select
from typing import Protocol

from arraygauge.inventory.block_entry import BLOCK_CLASS
from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.mdstat import PATH as MDSTAT
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.values import frozen

WAKES = select.POLLPRI | select.POLLERR
MOST_WATCHED = 512
"""Files held open: half of what a process may open by default, the rest is for reading the
machine. mdstat comes first and tells of every redundant array's members too."""

_MDSTAT_SUBJECT = "mdstat"
_STATE = "array_state"
_MEMBER = "dev-"
_ARRAY_FILES = (_STATE, "degraded", "sync_action")
_CALM_STATES = frozenset({b"clean", b"active", b"active-idle", b"write-pending"})
"""Between these an array goes to and fro with every pause in writing."""
_HEAD_BYTES = 1
"""Of mdstat: one byte arms it again and makes the kernel print the first line only, not the
arrays, whose bitmaps it might have to wait for."""
_ATTRIBUTE_BYTES = 4096
"""All of a sysfs attribute: at most a page."""


class Poller(Protocol):
    """The part of select.poll that is used."""

    def register(self, fd: int, eventmask: int, /) -> None: ...
    def unregister(self, fd: int, /) -> None: ...


@frozen
class _File:
    path: str
    array: str
    name: str

    @property
    def event(self) -> KernelEvent:
        return KernelEvent(kind=EventKind.MD, subject=self.array, action=self.name)

    @property
    def read_bytes(self) -> int:
        return _HEAD_BYTES if self.path == MDSTAT else _ATTRIBUTE_BYTES


class MdEvents:
    """Keeps every array's files open and armed. ``refresh`` after each event: arrays and
    members may have come or gone."""

    def __init__(self, poller: Poller, tree: Tree | None = None) -> None:
        self._poller = poller
        self._tree = tree or Tree()
        self._files: dict[int, _File] = {}
        self._held: dict[int, bytes] = {}
        """What each file held when it was last read."""

    def refresh(self) -> None:
        """Open what is new, close what is gone."""
        reader = Reader(self._tree)
        wanted = {file.path: file for file in _wanted(reader)[:MOST_WATCHED]}
        for descriptor, file in tuple(self._files.items()):
            if wanted.pop(file.path, None) is None:
                self._close(descriptor)
        for file in wanted.values():
            self._open(reader, file)

    def take(self, descriptor: int) -> list[KernelEvent]:
        """What a descriptor that woke the poller tells: nothing if it is not one of ours, or
        if the array only paused in writing. Arms it again."""
        file = self._files.get(descriptor)
        if file is None:
            return []
        before = self._held[descriptor]
        if not self._arm(descriptor):
            self._close(descriptor)
            return [file.event]
        calm = file.name == _STATE and {before, self._held[descriptor]} <= _CALM_STATES
        return [] if calm else [file.event]

    def close(self) -> None:
        """Give all descriptors back."""
        for descriptor in tuple(self._files):
            self._close(descriptor)

    def _open(self, reader: Reader, file: _File) -> None:
        descriptor = reader.descriptor(file.path)
        if descriptor is None:
            return  # raid0 has no sync_action; the rest went away meanwhile
        self._files[descriptor] = file
        self._poller.register(descriptor, WAKES)
        if not self._arm(descriptor):
            self._close(descriptor)

    def _arm(self, descriptor: int) -> bool:
        """Read from the start; False if the file has vanished."""
        try:
            held = os.pread(descriptor, self._files[descriptor].read_bytes, 0)
        except OSError:
            return False
        self._held[descriptor] = held.strip()
        return True

    def _close(self, descriptor: int) -> None:
        self._poller.unregister(descriptor)
        del self._files[descriptor]
        self._held.pop(descriptor, None)
        os.close(descriptor)


def _wanted(reader: Reader) -> list[_File]:
    """What there is to watch, the most telling first."""
    # md_alloc in drivers/md/md.c: an array's name begins with md, whoever chose it.
    arrays = [name for name in reader.names(BLOCK_CLASS) if name.startswith("md")]
    found = [_File(path=MDSTAT, array=_MDSTAT_SUBJECT, name=_MDSTAT_SUBJECT)]
    members = []
    for array in arrays:
        md = f"{BLOCK_CLASS}/{array}/md"
        inside = reader.names(md)
        found += [
            _File(path=f"{md}/{name}", array=array, name=name)
            for name in _ARRAY_FILES
            if name in inside
        ]
        members += [
            _File(path=f"{md}/{name}/state", array=array, name=f"{name}/state")
            for name in inside
            if name.startswith(_MEMBER)
        ]
    return found + members
