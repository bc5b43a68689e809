"""The agent's own file of random data, read where a device may not be opened raw.

Random data, written and flushed, lies on the device as it is: nothing compresses it, holes
and unwritten extents there are none (both would be read without touching the device). It is
made by a child (``children.own_file``), so that a device that hangs in mid-writing hangs that.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from arraygauge.probe.hosted import filesystem_at
from arraygauge.probe.runner import Prober
from arraygauge.probe.writes.reasons import explain_write
from arraygauge.probe.writes.reply import WriteReply, WriteStep
from arraygauge.probe.writes.talk import ask, making_seconds, question
from arraygauge.probe.writes.values import HostedFilesystem
from arraygauge.units import MIB
from arraygauge.values import frozen

GRACE_SECONDS = 3.0
"""Beyond the time it may take by itself, how long the child may live."""


@frozen
class OwnFile:
    """A regular file of ours, ``size_bytes`` of random data that is on the device."""

    path: Path
    size_bytes: int
    filesystem: HostedFilesystem
    filled_bytes: int
    """Written now to make it; 0 when it was there."""


@frozen
class Refusal:
    """Why there is no such file, naming the directory and what to do.

    ``written_bytes`` may have been written before that was known.
    """

    detail: str
    written_bytes: int = 0


def prepare_own_file(
    prober: Prober,
    device: str,
    directories: Sequence[Path],
    size_bytes: int,
    filesystems: tuple[HostedFilesystem, ...],
) -> OwnFile | Refusal:
    """Make the file in the first directory on one of the filesystems (made too where it is
    missing), or reuse the one there. ``size_bytes`` is rounded up to whole MiB."""
    size = -(-size_bytes // MIB) * MIB
    seconds = making_seconds(size) + GRACE_SECONDS
    asked = question(directories, filesystems, size)
    told = ask(prober, device, asked, deadline_seconds=seconds)
    reply = told.reply
    if reply is None:
        return Refusal(detail=told.detail, written_bytes=told.written_bytes)
    at = filesystem_at(filesystems, reply.device)
    if reply.step is not WriteStep.DONE or at is None or reply.folder is None:
        why = no_place(reply, filesystems, "probe.own_file_directories")
        return Refusal(detail=why, written_bytes=told.written_bytes)
    path = Path(reply.folder, reply.name)
    return OwnFile(path=path, size_bytes=size, filesystem=at, filled_bytes=reply.filled)


def no_place(reply: WriteReply, filesystems: tuple[HostedFilesystem, ...], key: str) -> str:
    """Why there is no own file: the child's reason, or that no directory lies where it should;
    ``key`` of the configuration names them."""
    if reply.step is not WriteStep.PLACE:
        return explain_write(reply) or "its place is not known"
    unfit = [f"{each.mount.mount_point}: {each.unfit}" for each in filesystems if each.unfit]
    if unfit:
        return "; ".join(dict.fromkeys(unfit))
    if not filesystems:
        return "no filesystem that lies on it alone is mounted"
    points = ", ".join(dict.fromkeys(each.mount.mount_point for each in filesystems))
    found = f"{reply.found}; " if reply.found else ""
    return f"{found}name a directory on {points} in the configuration's {key}"
