"""Arrays without metadata, by md's files in sysfs: made, started, stopped, found again.

Source: the kernel's Documentation/admin-guide/md.rst, "MD devices in sysfs", and drivers/md/md.c
where that is silent or wrong; each step was seen to work on Linux 6.1 in the lab. Units:
``chunk_size`` bytes; ``component_size`` and ``dev-X/size`` KiB; ``dev-X/offset`` sectors.

The first and the last MiB of each member stay outside the array's data (``dev-X/offset``), so
that what a drive has there, where partition tables and superblocks are, is never written to.
Nothing is ever written to tell of the array: it is gone with the kernel that holds it.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from arraygauge.errors import MachineTroubleError
from arraygauge.inventory.values import BlockDevice, DeviceNumber, Level
from arraygauge.probe.trial.values import Permit, grant
from arraygauge.trial.warden import PREFIX, leftovers, take_down
from arraygauge.units import KIB, MIB, SECTOR_BYTES
from arraygauge.values import frozen

NAME = f"{PREFIX}0"
NEW_ARRAY = Path("/sys/module/md_mod/parameters/new_array")
BLOCK = Path("/sys/block")
MARGIN_BYTES = MIB
RESYNCED = frozenset({Level.RAID1, Level.RAID4, Level.RAID5, Level.RAID6, Level.RAID10})
"""Levels with redundancy: only these have a component size of their own, and a resync to skip."""
NODE_SECONDS = 10.0
STOP_SECONDS = 30.0


@frozen
class Blueprint:
    """An array to be made. ``component_bytes`` of each member are used, from ``MARGIN_BYTES``
    on; ``chunk_bytes`` and ``layout`` are None for levels that have none."""

    level: Level
    members: tuple[BlockDevice, ...]
    component_bytes: int
    chunk_bytes: int | None = None
    layout: int | None = None


@frozen
class Made:
    """An array that runs: leave to write to it, and what it holds in bytes."""

    permit: Permit
    size_bytes: int


class MakingError(Exception):
    """The kernel did not make the array: which file refused, and why."""

    def __init__(self, path: Path, error: OSError) -> None:
        self.path, self.number = path, error.errno or errno.EIO
        super().__init__(f"{path}: {os.strerror(self.number)} ({errno.errorcode[self.number]})")


def component_bytes(drives: Sequence[BlockDevice]) -> int:
    """What each of them can give, in whole MiB, with both margins left alone."""
    smallest = min(each.size_bytes or 0 for each in drives)
    return (smallest - 2 * MARGIN_BYTES) // MIB * MIB


def check_kernel() -> None:
    """Raises MachineTroubleError where the kernel makes no arrays."""
    if not NEW_ARRAY.exists():
        raise MachineTroubleError(
            f"{NEW_ARRAY}: this kernel has no md, or has not loaded it",
            "load its module md_mod and those of the levels (raid0, raid1, raid10, raid456)",
        )


def make(blueprint: Blueprint, check_claimed: Callable[[], None]) -> Made:
    """The array, running, with its redundancy declared to be in step.

    ``check_claimed`` is called once md holds all members and before anything can be written to
    them; what it raises goes on to the caller. Whoever calls this calls ``stop`` afterwards,
    whatever came of it. Raises MakingError where the kernel refuses.
    """
    md = BLOCK / NAME / "md"
    _write(NEW_ARRAY, NAME)
    _write(md / "metadata_version", "none")
    _write(md / "level", str(blueprint.level))
    _write(md / "raid_disks", str(len(blueprint.members)))
    if blueprint.chunk_bytes is not None:
        _write(md / "chunk_size", str(blueprint.chunk_bytes))
    if blueprint.layout is not None:
        _write(md / "layout", str(blueprint.layout))
    for slot, member in enumerate(blueprint.members):
        _add(md, member, slot, blueprint.component_bytes)
    check_claimed()
    if blueprint.level in RESYNCED:
        _write(md / "component_size", str(blueprint.component_bytes // KIB))
        _write(md / "resync_start", "none")
    _write(md / "array_state", "active")
    return _running()


def _add(md: Path, member: BlockDevice, slot: int, size_bytes: int) -> None:
    major, minor = member.number
    _write(md / "new_dev", f"{major}:{minor}")
    directory = md / f"dev-{member.name}"
    _write(directory / "offset", str(MARGIN_BYTES // SECTOR_BYTES))
    _write(directory / "size", str(size_bytes // KIB))
    _write(directory / "slot", str(slot))


def _running() -> Made:
    """Once its node is there, and the kernel says that it is whole and at rest."""
    md = BLOCK / NAME / "md"
    node, deadline = Path(f"/dev/{NAME}"), time.monotonic() + NODE_SECONDS
    while not node.exists():
        if time.monotonic() > deadline:
            raise MakingError(node, FileNotFoundError(errno.ENOENT, "no node"))
        time.sleep(0.01)
    size = int(_read(BLOCK / NAME / "size")) * SECTOR_BYTES
    facts = {
        "metadata_version": ("none",),
        "degraded": ("0", ""),
        "sync_action": ("idle", ""),
        "array_state": ("clean", "active", "active-idle", "write-pending"),
    }
    for name, wanted in facts.items():
        if (_read(md / name) if (md / name).exists() else "") not in wanted:
            raise MakingError(md / name, OSError(errno.EILSEQ, "not as it was made"))
    if size <= 0:
        raise MakingError(BLOCK / NAME / "size", OSError(errno.ENOSPC, "empty"))
    return Made(permit=grant(NAME, _number()), size_bytes=size)


def _number() -> DeviceNumber:
    major, minor = _read(BLOCK / NAME / "dev").split(":")
    return int(major), int(minor)


def stop(made: Made | None = None) -> None:
    """Take the array down, half made or whole; returns when it is gone.

    Raises MachineTroubleError where something keeps it.
    """
    if made is not None:
        made.permit.revoke()
    if left := take_down(STOP_SECONDS):
        raise MachineTroubleError(
            f"the trial's array {', '.join(left)} cannot be stopped: something has it open",
            f"find out what uses /dev/{left[0]}; the next 'arraygauge trial' takes it down, and "
            "it does not outlast a restart",
        )


def take_down_leftovers() -> tuple[str, ...]:
    """Those that an earlier trial, killed together with its warden, left: their names. Only to
    be called by the one trial that runs."""
    found = tuple(leftovers())
    if found:
        stop()
    return found


def _write(path: Path, text: str) -> None:
    try:
        fd = os.open(path, os.O_WRONLY | os.O_NOFOLLOW)
        try:
            os.write(fd, text.encode())
        finally:
            os.close(fd)
    except OSError as error:
        raise MakingError(path, error) from error


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except OSError as error:
        raise MakingError(path, error) from error
