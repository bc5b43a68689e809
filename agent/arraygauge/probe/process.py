"""A child process: spoken to, watched, ended, reaped or given up.

A direct read of a hung drive sleeps where SIGKILL takes effect only when the
drive answers, so nothing here waits without a bound: not for an answer, not for
the kill. Works from any thread, and the thread must outlive the child, because
the child's parent-death signal follows the thread (prctl(2), PR_SET_PDEATHSIG).

Parent and child share a few words of memory: the parent sets the first one to have the
child stop asking and report what it has; the others are the child's own running count.
"""

from __future__ import annotations

import json
import mmap
import os
import selectors
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from enum import StrEnum
from typing import IO, Protocol

import psutil

from arraygauge.probe.stop import StopToken
from arraygauge.values import frozen

WRAP_UP_SECONDS = 1.0
"""How long a child that was told to give way may take to finish what is in flight."""
LINGER_SECONDS = 0.5
"""How long a child that has answered may take to end by itself."""
KILL_SECONDS = 0.5
"""How long a killed child is waited for before it is given up."""
ANSWER_LIMIT_BYTES = 1 << 20
COMPLAINT_LIMIT_BYTES = 2000


OwnBytes = Callable[[], tuple[int, int]]
"""Bytes the child has asked for, and bytes that came, at the moment of the call."""


class Lookout(Protocol):
    """Says when the child should give way, and is asked that often."""

    interval_seconds: float

    def look(self, own: OwnBytes) -> str | None:
        """Why to give way now; None to go on. ``own`` must be asked after any other counter,
        or what the child does meanwhile would be taken for others' work."""


class Ending(StrEnum):
    ANSWERED = "answered"
    STOPPED = "stopped"
    OVERDUE = "overdue"


@frozen
class Conversation:
    """What came of one child.

    ``answer`` is what it wrote to standard output, whole or not; ``complaint`` the
    end of its standard error. ``exit_status`` is None when it could not be reaped.
    ``bytes_read`` is its own running count, true at its end however it ended.
    ``gave_way`` says why the lookout had it stop.
    """

    ending: Ending
    answer: bytes
    complaint: str
    exit_status: int | None
    bytes_read: int
    seconds: float
    gave_way: str | None


class Child:
    """One child process; ``talk`` is its whole life, unless the kernel holds it longer.

    ``threads`` is how many of it will count bytes; ``shared_fds`` are handed down to it.
    """

    def __init__(
        self, command: tuple[str, ...], threads: int = 1, shared_fds: tuple[int, ...] = ()
    ) -> None:
        self._counter = os.memfd_create("bytes read")
        self._word_count = 1 + 2 * threads
        try:
            os.ftruncate(self._counter, 8 * self._word_count)
            self._shared = mmap.mmap(self._counter, 8 * self._word_count)
            # Its own process group keeps the terminal's Ctrl-C from it: the parent decides.
            self.process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                bufsize=0,
                pass_fds=(self._counter, *shared_fds),
                process_group=0,
            )
        except BaseException:
            os.close(self._counter)
            raise
        self._into, self._out, self._err = _pipes(self.process)
        self._words = memoryview(self._shared).cast("Q")
        self._begun = time.monotonic()
        self._gave_way: str | None = None
        self._answer, self._complaint = b"", b""

    def talk(
        self,
        request: dict[str, object],
        stop: StopToken,
        deadline_seconds: float,
        lookout: Lookout | None = None,
    ) -> Conversation:
        """Send the request, take the answer, see the child out."""
        self._become_idle()
        addressed = request | {
            "parent": os.getpid(),
            "progress": self._counter,
            "words": self._word_count,
        }
        line = json.dumps(addressed).encode() + b"\n"
        try:
            ending = self._converse(line, stop, self._begun + deadline_seconds, lookout)
            status = self._see_out(ending)
            self._hear_rest()
            return Conversation(
                ending=ending,
                answer=self._answer,
                complaint=self._complaint.decode(errors="replace").strip(),
                exit_status=status,
                bytes_read=self._own_bytes()[1],
                seconds=time.monotonic() - self._begun,
                gave_way=self._gave_way,
            )
        except BaseException:
            self._see_out(Ending.STOPPED)
            raise
        finally:
            self._close()

    def _become_idle(self) -> None:
        """Idle I/O class, ioprio_set(2): threads started later inherit it. Best effort."""
        with suppress(psutil.Error, OSError):
            psutil.Process(self.process.pid).ionice(psutil.IOPRIO_CLASS_IDLE)

    def _converse(
        self, line: bytes, stop: StopToken, deadline: float, lookout: Lookout | None
    ) -> Ending:
        with selectors.DefaultSelector() as selector:
            for source in (stop, self._out, self._err):
                selector.register(source, selectors.EVENT_READ)
            selector.register(self._into, selectors.EVENT_WRITE)
            while (left := deadline - time.monotonic()) > 0:
                watching = lookout is not None and self._gave_way is None
                patience = lookout.interval_seconds if lookout and watching else left
                ready = {key.fileobj for key, _ in selector.select(min(left, patience))}
                if stop in ready:
                    return Ending.STOPPED
                if self._into in ready and not (line := _send(self._into, line)):
                    selector.unregister(self._into)
                if self._err in ready and not self._hear():
                    selector.unregister(self._err)
                if self._out in ready and self._has_answered():
                    return Ending.ANSWERED
                if lookout and watching and self._must_give_way(lookout):
                    deadline = min(deadline, time.monotonic() + WRAP_UP_SECONDS)
        return Ending.OVERDUE

    def _must_give_way(self, lookout: Lookout) -> bool:
        self._gave_way = lookout.look(self._own_bytes)
        if self._gave_way is None:
            return False
        self._words[0] = 1
        return True

    def _has_answered(self) -> bool:
        """Take what there is; true when the line, the stream or our patience has ended."""
        chunk = os.read(self._out.fileno(), 1 << 16)
        self._answer += chunk
        return not chunk or b"\n" in chunk or len(self._answer) > ANSWER_LIMIT_BYTES

    def _hear(self) -> bool:
        chunk = os.read(self._err.fileno(), 1 << 16)
        self._complaint = (self._complaint + chunk)[-COMPLAINT_LIMIT_BYTES:]
        return bool(chunk)

    def _hear_rest(self) -> None:
        """What the child said last may have arrived after its answer ended."""
        with suppress(BlockingIOError):
            self._hear()

    def _see_out(self, ending: Ending) -> int | None:
        if self.process.returncode is not None:
            return self.process.returncode  # seen out before; its number may be another's by now
        patience = LINGER_SECONDS if ending is Ending.ANSWERED else 0
        for seconds in (patience, KILL_SECONDS):
            if _ends_within(self.process.pid, seconds):
                return self.process.wait()
            self.process.kill()
        return None

    def _own_bytes(self) -> tuple[int, int]:
        return sum(self._words[1::2]), sum(self._words[2::2])

    def _close(self) -> None:
        self._words.release()
        self._shared.close()
        os.close(self._counter)
        for stream in (self._into, self._out, self._err):
            stream.close()


def _ends_within(process_id: int, seconds: float) -> bool:
    """Whether this child, not yet waited for, has ended by then; pidfd_open(2) tells at once,
    where waiting with a time limit looks ever more seldom."""
    fd = os.pidfd_open(process_id)
    try:
        with selectors.DefaultSelector() as selector:
            selector.register(fd, selectors.EVENT_READ)
            return bool(selector.select(seconds))
    finally:
        os.close(fd)


def _pipes(process: subprocess.Popen[bytes]) -> tuple[IO[bytes], IO[bytes], IO[bytes]]:
    into, out, err = process.stdin, process.stdout, process.stderr
    assert into is not None  # all three were asked for as pipes
    assert out is not None
    assert err is not None
    for stream in (into, err):
        os.set_blocking(stream.fileno(), False)
    return into, out, err


def _send(into: IO[bytes], line: bytes) -> bytes:
    """What is left to send: nothing as well when nobody reads any more."""
    try:
        return line[os.write(into.fileno(), line) :]
    except BrokenPipeError:
        return b""
