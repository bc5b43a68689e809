"""md arrays by the kernel's own files, with no other tool.

Source: the kernel's Documentation/admin-guide/md.rst, "MD devices in sysfs", and the
units its drivers/md/md.c uses where the document is silent or wrong:

=====================  =======================================================
file in md/            unit
=====================  =======================================================
``chunk_size``         bytes
``component_size``     KiB (the document says sectors; md.c shifts by one)
``dev-X/size``         KiB; not set means an array of size 0
``layout``             the level's integer
``resync_start``       512-byte sectors, or none: nothing to resynchronise
``new_dev``            major:minor
=====================  =======================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from lab.machine import KIB, ArraySpec, Machine

RESYNCED_LEVELS = frozenset({"raid1", "raid4", "raid5", "raid6", "raid10"})
"""Levels with redundancy: only these have component_size used and resync_start."""


class Files(Protocol):
    """The guest's files."""

    def read(self, path: str) -> str: ...

    def write(self, path: str, text: str) -> None: ...


def create(files: Files, machine: Machine, spec: ArraySpec, devices: Mapping[str, str]) -> None:
    """Makes and starts the array; ``devices`` maps drive names to block device names.

    Redundancy is declared to be in step, so that no resync runs. OSError with the
    kernel's errno when it refuses.
    """
    members = [devices[name] for name in spec.members]
    smallest = min(machine.drive(name).size_bytes for name in spec.members)
    component_kib = (spec.component_bytes or smallest) // KIB
    files.write("/sys/module/md_mod/parameters/new_array", spec.name)
    md = f"/sys/block/{spec.name}/md"
    files.write(f"{md}/metadata_version", "none")
    files.write(f"{md}/level", spec.level)
    files.write(f"{md}/raid_disks", str(len(members)))
    if spec.chunk_bytes:
        files.write(f"{md}/chunk_size", str(spec.chunk_bytes))
    if spec.layout is not None:
        files.write(f"{md}/layout", str(spec.layout))
    for slot, (drive, device) in enumerate(zip(spec.members, members, strict=True)):
        files.write(f"{md}/new_dev", files.read(f"/sys/block/{device}/dev"))
        size_kib = machine.drive(drive).size_bytes // KIB
        files.write(f"{md}/dev-{device}/size", str(size_kib))
        files.write(f"{md}/dev-{device}/slot", str(slot))
    if spec.level in RESYNCED_LEVELS:
        files.write(f"{md}/component_size", str(component_kib))
        files.write(f"{md}/resync_start", "none")
    files.write(f"{md}/array_state", "active")


def stop(files: Files, name: str) -> None:
    """Stops the array and frees its members; OSError EBUSY while it is open."""
    files.write(f"/sys/block/{name}/md/array_state", "clear")


def fail(files: Files, name: str, device: str) -> None:
    """Tells the kernel that a member has failed."""
    files.write(f"/sys/block/{name}/md/dev-{device}/state", "faulty")
