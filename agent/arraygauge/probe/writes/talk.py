"""Speaking to the writing child: started, watched, told to stop in time, ended, believed or not."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from arraygauge.probe.hosted import fit_numbers
from arraygauge.probe.process import Child, Conversation, Ending, Lookout, OwnBytes
from arraygauge.probe.reply import ReplyError
from arraygauge.probe.runner import Prober, child_command
from arraygauge.probe.stop import StopToken
from arraygauge.probe.suspension import NOTICED_SECONDS
from arraygauge.probe.writes.reply import WriteReply, parse_write_reply
from arraygauge.probe.writes.values import HostedFilesystem, WriteOutcome
from arraygauge.units import MIB
from arraygauge.values import frozen

WRITING = child_command("arraygauge.probe.children.writing")
SLOWEST_MAKING = 10 * MIB
"""Bytes per second: where making a file is slower, it is given up."""
MAKING_GRACE_SECONDS = 5.0
LOOK_SECONDS = 0.02
TOLD_TO_STOP = "told to stop"
SLEPT = "the machine was suspended meanwhile, which says nothing of it"


@frozen
class Told:
    """What came of one child: its reply, or in its stead an outcome and the words for it."""

    reply: WriteReply | None
    outcome: WriteOutcome
    detail: str
    written_bytes: int = 0
    seconds: float = 0.0
    gave_way: str | None = None


def question(
    directories: Sequence[Path],
    filesystems: tuple[HostedFilesystem, ...],
    file_bytes: int,
    **more: object,
) -> dict[str, object]:
    """What the child reads on its standard input; sizes in bytes, times in seconds.

    Without more it makes the file, or finds it, and writes nothing over it.
    """
    plain: dict[str, object] = {
        "directories": [str(path) for path in directories],
        "allowed": fit_numbers(filesystems),
        "file_bytes": file_bytes,
        "making_seconds": making_seconds(file_bytes),
        "max_bytes": file_bytes,
        "write": False,
    }
    return plain | more


def making_seconds(file_bytes: int) -> float:
    """How long the child may take to make the file, before it gives up by itself."""
    return MAKING_GRACE_SECONDS + file_bytes / SLOWEST_MAKING


class _Manners:
    """Says when to stop: for the lookout's reasons, or because the whole agent stops. A child
    killed at once would leave its file; one told to stop removes it."""

    def __init__(self, stop: StopToken, lookout: Lookout | None) -> None:
        self._stop, self._lookout = stop, lookout
        self.interval_seconds = lookout.interval_seconds if lookout else LOOK_SECONDS

    def look(self, own: OwnBytes) -> str | None:
        if self._stop.is_set():
            return TOLD_TO_STOP
        return self._lookout.look(own) if self._lookout else None


def ask(
    prober: Prober,
    device: str,
    asked: dict[str, object],
    *,
    deadline_seconds: float,
    threads: int = 1,
    lookout: Lookout | None = None,
    command: tuple[str, ...] = WRITING,
) -> Told:
    """One child's whole life, for the deadline and some two seconds more at the very most.

    Not started while an earlier one hangs on this device; one that cannot be ended is put
    in the prober's quarantine.
    """
    pid = prober.quarantine.stuck().get(device)
    if pid is not None:
        hangs = f"process {pid} of an earlier probe still hangs in the kernel"
        detail = f"{hangs}; check the drives, their cables and the kernel log"
        return Told(reply=None, outcome=WriteOutcome.REFUSED, detail=detail)
    if prober.stop.is_set():
        return Told(reply=None, outcome=WriteOutcome.INTERRUPTED, detail=TOLD_TO_STOP)
    try:
        child = Child(command, threads)
    except OSError as error:
        detail = f"the writing process could not be started: {error}"
        return Told(reply=None, outcome=WriteOutcome.CRASHED, detail=detail)
    slept = prober.suspended()
    with closing(StopToken()) as never, prober.own_probes.on(device):
        talk = child.talk(asked, never, deadline_seconds, _Manners(prober.stop, lookout))
    if talk.exit_status is None:
        prober.quarantine.add(device, child.process)
    told = _told(talk, child.process.pid, deadline_seconds)
    if prober.suspended() - slept > NOTICED_SECONDS:
        return replace(told, reply=None, outcome=WriteOutcome.INTERRUPTED, detail=SLEPT)
    return told


def _told(talk: Conversation, pid: int, deadline_seconds: float) -> Told:
    reply, (outcome, detail) = None, _without_reply(talk, pid, deadline_seconds)
    if talk.ending is Ending.ANSWERED and talk.exit_status is not None:
        try:
            reply = parse_write_reply(talk.answer)
        except ReplyError as error:
            last_words = talk.complaint.splitlines()[-1:] or [f"no valid answer ({error})"]
            detail += f"failed with exit status {talk.exit_status}: {last_words[0][:300]}"
    return Told(
        reply=reply,
        outcome=outcome,
        detail=detail,
        written_bytes=talk.bytes_read,
        seconds=talk.seconds,
        gave_way=talk.gave_way,
    )


def _without_reply(
    talk: Conversation, pid: int, deadline_seconds: float
) -> tuple[WriteOutcome, str]:
    if talk.exit_status is None:
        return WriteOutcome.ABANDONED, (
            f"writing hangs in the kernel (process {pid}, which cannot be ended); it is left "
            "alone until that ends: check the drives, their cables and power, and the kernel log"
        )
    if talk.ending is Ending.ANSWERED:
        return WriteOutcome.CRASHED, "the writing process "
    if talk.gave_way == TOLD_TO_STOP:
        return WriteOutcome.INTERRUPTED, "told to stop, it did not end in time and was killed"
    limit = "in time to give way" if talk.gave_way else f"within {deadline_seconds:g} s"
    return WriteOutcome.TIMED_OUT, f"it gave no answer {limit}"
