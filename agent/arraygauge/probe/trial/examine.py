"""Having drives examined by a child (``children.trial_examining``), bounded in time."""

from __future__ import annotations

import errno
import json
import os
import secrets
from collections.abc import Sequence
from dataclasses import asdict

from arraygauge.errors import MachineTroubleError
from arraygauge.probe.process import Child, Ending
from arraygauge.probe.runner import child_command
from arraygauge.probe.stop import StopToken
from arraygauge.probe.trial.values import Examined, Mark, Signature, Suspect
from arraygauge.probe.wire import items, text, whole

EXAMINING = child_command("arraygauge.probe.children.trial_examining")
SECONDS_A_DRIVE = 60.0
"""A thousand places of a disk take some twelve seconds."""


def examine(
    suspects: Sequence[Suspect],
    marks: Sequence[Mark],
    stop: StopToken,
    command: tuple[str, ...] = EXAMINING,
) -> tuple[Examined, ...]:
    """What each of the drives holds; they are opened for reading only.

    Raises MachineTroubleError where libblkid is missing, or a drive hangs.
    """
    try:
        child = Child(command)
    except OSError as error:
        raise MachineTroubleError(
            f"the process that examines drives could not be started: {error}", "free some memory"
        ) from error
    request: dict[str, object] = {
        "drives": [asdict(each) for each in suspects],
        "marks": [list(mark.places) for mark in marks],
        "seed": secrets.randbits(32),
    }
    talk = child.talk(request, stop, SECONDS_A_DRIVE * max(len(suspects), 1))
    names = ", ".join(each.device for each in suspects)
    if talk.ending is Ending.STOPPED:
        raise MachineTroubleError(f"{names}: told to stop while being examined", "start again")
    if talk.ending is Ending.OVERDUE or talk.exit_status is None:
        raise MachineTroubleError(
            f"{names}: one of them does not answer", "look at its cable, power and the kernel log"
        )
    return parse_examined(suspects, talk.answer, talk.complaint)


def parse_examined(
    suspects: Sequence[Suspect], answer: bytes, complaint: str = ""
) -> tuple[Examined, ...]:
    """The child's answer, not trusted. Raises MachineTroubleError for what is none."""
    try:
        said = json.loads(answer)
        library = said["library"]
        if library is not None:
            raise MachineTroubleError(
                f"libblkid, which knows what filesystems look like, cannot be used: {library}",
                "install it (Debian and others: package libblkid1); without it nothing is erased",
            )
        replies = items(said["drives"])
        return tuple(
            _examined(suspect, reply) for suspect, reply in zip(suspects, replies, strict=True)
        )
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        words = complaint.splitlines()[-1:] or [f"{type(error).__name__}: {error}"]
        raise MachineTroubleError(
            f"the process that examines drives failed: {words[0][:300]}", "report this as a fault"
        ) from error


def _examined(suspect: Suspect, reply: object) -> Examined:
    if not isinstance(reply, dict):
        raise TypeError("an object expected")
    step, number = text(reply["step"]), whole(reply["number"])
    if step != "done":
        problem = _problem(step, number, reply["offset"])
        return Examined(device=suspect.device, problem=problem)
    pairs = [items(each) for each in items(reply["signatures"])]
    strange = reply["strange"]
    return Examined(
        device=suspect.device,
        problem=None,
        size_bytes=whole(reply["size"]),
        signatures=tuple(Signature(kind=text(kind), name=text(name)) for kind, name in pairs),
        strange_at=None if strange is None else whole(strange),
        places=whole(reply["places"]),
        trial_blocks=whole(reply["trial_blocks"]),
    )


def _problem(step: str, number: int, offset: object) -> str:
    said = f"{os.strerror(number)} ({errno.errorcode.get(number, number)})" if number else ""
    if step == "open" and number == errno.EBUSY:
        return "something else holds it exclusively (EBUSY): a mount, swap, an array, a program"
    if step == "open":
        return f"it cannot be opened: {said}"
    if step == "check":
        return "its node leads to another device"
    if step == "read":
        return f"it cannot be read at byte {offset}: {said or 'it ended there'}"
    return "its signatures could not be read"
