"""Kernel error numbers in plain words: which device, what happened, what to do.

Meanings of read errors: the kernel's own table of block errors (block/blk-core.c,
``blk_errors``), from memory.
"""

from __future__ import annotations

import errno
import os

from arraygauge.probe.reply import Reply, Step
from arraygauge.probe.values import Outcome, ProbeRequest, Route
from arraygauge.units import format_binary

_GONE = (errno.ENOENT, errno.ENXIO, errno.ENODEV)

_CANNOT_OPEN_DEVICE = {
    errno.EACCES: "this user may not read it; run as root, or add the user to group disk",
    errno.EPERM: "the system refuses raw reads of it, to root as well; measure it through a "
    "file on a filesystem that sits on it",
    errno.EINVAL: "it offers no direct reads (O_DIRECT)",
    errno.EBUSY: "another program holds it for itself; try again when that has ended",
    errno.ENOMEDIUM: "it holds no medium; insert one",
    errno.ELOOP: "it is a symbolic link; name the device node it points to",
}
_CANNOT_OPEN_FILE = {
    errno.EACCES: "this user may not read it; remove it, and a new one will be made",
    errno.EPERM: "the system refuses reads of it",
    errno.EINVAL: "its filesystem offers no direct reads (O_DIRECT); name a directory on another",
    errno.ELOOP: "it is a symbolic link; remove it, and a new file will be made",
}
_READ_ERRORS = {
    errno.EIO: "input/output error",
    errno.ENODATA: "the medium could not be read there",
    errno.EREMOTEIO: "the drive reports a failure of its own",
    errno.EILSEQ: "the data failed its integrity check",
    errno.ETIMEDOUT: "the drive did not answer in time",
    errno.ENOLINK: "the connection to the drive failed",
    errno.EBADE: "another host has reserved the drive",
}


def outcome_of(reply: Reply) -> Outcome:
    """Why the probe ended, in the words the judge goes by."""
    if reply.step is Step.DONE:
        return Outcome.BUDGET_SPENT if reply.budget_spent else Outcome.COMPLETED
    if reply.step is Step.HOT:
        return Outcome.TOO_HOT
    if reply.gone or reply.number in _GONE:
        return Outcome.VANISHED
    if reply.number in _READ_ERRORS:
        return Outcome.READ_ERROR
    if reply.step is Step.READ and (reply.bytes_read or reply.number != errno.EINVAL):
        return Outcome.READ_ERROR
    return Outcome.REFUSED


def explain(request: ProbeRequest, reply: Reply) -> str | None:
    """One sentence with device, path and remedy; None when there is nothing to explain."""
    outcome = outcome_of(reply)
    if reply.step is Step.DONE:
        return None
    if outcome is Outcome.VANISHED:
        what = f"{request.path} is gone ({_said(reply.number)})"
        return f"{request.device}: {what}; {_remedy_for_gone(request)}"
    if reply.step is Step.HOT:
        return f"{request.device}: {reply.found} °C is too hot to be read; look to its cooling"
    if reply.step is Step.CHECK:
        return f"{request.device}: {request.path} is {reply.found}; list the devices again"
    if reply.step is Step.OPEN:
        return f"{request.device}: cannot open {request.path}: {_why_not_opened(request, reply)}"
    return f"{request.device}: {_what_happened_reading(request, reply)}"


def _said(number: int) -> str:
    name = errno.errorcode.get(number, str(number))
    return f"{os.strerror(number)}, {name}" if number else "its node was removed"


def _remedy_for_gone(request: ProbeRequest) -> str:
    if request.route is Route.FILE:
        return "something removed the file; a new one will be made at the next probe"
    return "if it was not removed on purpose, check its cable and power and the kernel log"


def _why_not_opened(request: ProbeRequest, reply: Reply) -> str:
    known = _CANNOT_OPEN_DEVICE if request.route is Route.RAW else _CANNOT_OPEN_FILE
    why = known.get(reply.number) or _READ_ERRORS.get(reply.number)
    return f"{why} ({errno.errorcode[reply.number]})" if why else _said(reply.number)


def _what_happened_reading(request: ProbeRequest, reply: Reply) -> str:
    size = format_binary(request.workload.transfer_bytes)
    if reply.number == 0:
        return f"{request.path} ended at byte {reply.offset}: it shrank while it was read"
    if reply.number == errno.EINVAL:
        return (
            f"{request.path} refuses reads of {size} at byte {reply.offset} (EINVAL); "
            "choose a transfer size that is a multiple of its logical block"
        )
    why = _READ_ERRORS.get(reply.number, os.strerror(reply.number))
    return (
        f"read error in the {size} at byte {reply.offset} of {request.path}: {why} "
        f"({errno.errorcode.get(reply.number, reply.number)}); look at the kernel log and the "
        "drive's health, and do not rely on this copy of the data alone"
    )
