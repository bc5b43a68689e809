"""What stopped a write, in plain words: what happened, and what to do about it.

Error numbers: errno(3), and the kernel's own table of block errors (block/blk-core.c,
``blk_errors``), from memory.
"""

from __future__ import annotations

import errno
import os

from arraygauge.probe.writes.reply import Room, WriteReply, WriteStep
from arraygauge.probe.writes.values import WriteOutcome
from arraygauge.units import format_binary, format_capacity

_FULL = (errno.ENOSPC, errno.EDQUOT)
_GONE = (errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ESTALE)
_WRITE_ERRORS = {
    errno.EIO: "input/output error",
    errno.ENODATA: "the medium could not be written there",
    errno.EREMOTEIO: "a drive reports a failure of its own",
    errno.EILSEQ: "the data failed its integrity check",
    errno.ETIMEDOUT: "a drive did not answer in time",
    errno.ENOLINK: "the connection to a drive failed",
    errno.EBADE: "another host has reserved a drive",
    errno.EUCLEAN: "the filesystem found itself damaged",
}
_REFUSALS = {
    errno.EACCES: "this user may not write here; run as root or name another directory",
    errno.EPERM: "this user may not write here; run as root or name another directory",
    errno.EROFS: "it is mounted read-only; name a directory on a writable filesystem",
    errno.ENOSPC: "it is full; free some space, or name a directory elsewhere on the device",
    errno.EDQUOT: "this user's quota is used up; name a directory elsewhere on the device",
    errno.ENOTDIR: "it is not a directory",
    errno.ELOOP: "a symbolic link stands where the agent's own file should; remove it",
    errno.EINVAL: "its filesystem offers no direct writes (O_DIRECT); name a directory on another",
    errno.EFBIG: "the file would be larger than a limit here allows (RLIMIT_FSIZE); raise that",
}
_SIMPLE = {
    WriteStep.STOPPED: "told to stop",
    WriteStep.BUDGET: "making the file would take more than may be written now",
    WriteStep.SLOW: "making the file took too long, so it was given up; make it smaller",
}


def outcome_of_write(reply: WriteReply) -> WriteOutcome:
    """Why the child ended, by what it says."""
    if reply.step is WriteStep.DONE:
        return WriteOutcome.COMPLETED
    if reply.step is WriteStep.STOPPED:
        return WriteOutcome.INTERRUPTED
    if reply.step is WriteStep.BUDGET:
        return WriteOutcome.BUDGET_SPENT
    if reply.step is WriteStep.SLOW:
        return WriteOutcome.TIMED_OUT
    if reply.step is WriteStep.ROOM or reply.number in _FULL:
        return WriteOutcome.NO_ROOM
    if reply.number == errno.EROFS:
        return WriteOutcome.READ_ONLY
    return _of_number(reply)


def _of_number(reply: WriteReply) -> WriteOutcome:
    if reply.number in _WRITE_ERRORS:
        return WriteOutcome.WRITE_ERROR
    in_burst = reply.step in (WriteStep.WRITE, WriteStep.FLUSH)
    if in_burst and reply.number in _GONE:
        return WriteOutcome.VANISHED
    refused = reply.number in (errno.EFBIG, errno.EINVAL, errno.EPERM)
    return WriteOutcome.WRITE_ERROR if in_burst and not refused else WriteOutcome.REFUSED


def explain_write(reply: WriteReply, transfer_bytes: int = 0) -> str | None:
    """What happened and the remedy; None when there is nothing to explain."""
    if reply.step is WriteStep.DONE:
        return None
    if reply.step in _SIMPLE:
        return _SIMPLE[reply.step]
    if reply.step in (WriteStep.WRITE, WriteStep.FLUSH):
        return _in_burst(reply, transfer_bytes)
    return f"{reply.folder or reply.found}: {_before_burst(reply)}"


def _before_burst(reply: WriteReply) -> str:
    if reply.room is not None:
        return why_no_room(reply.room)
    if reply.step is WriteStep.CHECK:
        return f"files there are {reply.found}; name a directory elsewhere on the device"
    if reply.step is WriteStep.THEIRS:
        return f"{reply.found}; remove it"
    if reply.step is WriteStep.BUSY:
        return f"another run is writing {reply.found} now; try again when it is done"
    why = _WRITE_ERRORS.get(reply.number) or _REFUSALS.get(reply.number)
    return f"{why or os.strerror(reply.number)} ({_name(reply.number)})"


def _in_burst(reply: WriteReply, transfer_bytes: int) -> str:
    what = "flushing" if reply.step is WriteStep.FLUSH else f"write {_where(reply, transfer_bytes)}"
    path = f"{reply.folder}/{reply.name}"
    if (why := _WRITE_ERRORS.get(reply.number)) is not None:
        return (
            f"{what} of {path} failed: {why} ({_name(reply.number)}); look at the kernel log "
            "and the drives' health before you write anything else there"
        )
    why = _REFUSALS.get(reply.number) or os.strerror(reply.number)
    return f"{what} of {path} failed: {why} ({_name(reply.number)})"


def _where(reply: WriteReply, transfer_bytes: int) -> str:
    return f"of the {format_binary(transfer_bytes)} at byte {reply.found}"


def _name(number: int) -> str:
    return errno.errorcode.get(number, str(number))


def why_no_room(room: Room) -> str:
    """In figures, what is lacking."""
    whole = f"and {format_capacity(room.floor)} must stay free"
    remedy = "free some space, or name a directory elsewhere on the device"
    if not room.wanted:
        return f"only {format_capacity(room.free)} is free, {whole}; {remedy}"
    left = format_capacity(max(room.free - room.wanted, 0))
    return f"a file of {format_capacity(room.wanted)} would leave {left} free, {whole}; {remedy}"
