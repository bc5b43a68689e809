"""A child process: spoken to, watched, ended, reaped or given up.

A direct read of a hung drive sleeps where SIGKILL takes effect only when the
drive answers, so nothing here waits without a bound: not for an answer, not for
the kill. Works from any thread, and the thread must outlive the child, because
the child's parent-death signal follows the thread (prctl(2), PR_SET_PDEATHSIG).
"""

from __future__ import annotations

import json
import mmap
import os
import selectors
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from typing import IO

import psutil

from arraygauge.probe.stop import StopToken

LINGER_SECONDS = 0.5
"""How long a child that has answered may take to end by itself."""
KILL_SECONDS = 0.5
"""How long a killed child is waited for before it is given up."""
ANSWER_LIMIT_BYTES = 1 << 20
COMPLAINT_LIMIT_BYTES = 2000


class Ending(StrEnum):
    ANSWERED = "answered"
    STOPPED = "stopped"
    OVERDUE = "overdue"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversation:
    """What came of one child.

    ``answer`` is what it wrote to standard output, whole or not; ``complaint`` the
    end of its standard error. ``exit_status`` is None when it could not be reaped.
    ``bytes_read`` is its own running count, true at its end however it ended.
    """

    ending: Ending
    answer: bytes
    complaint: str
    exit_status: int | None
    bytes_read: int
    seconds: float


class Child:
    """One child process; ``talk`` is its whole life, unless the kernel holds it longer."""

    def __init__(self, command: tuple[str, ...]) -> None:
        self._counter = os.memfd_create("bytes read")
        try:
            os.ftruncate(self._counter, 8)
            # Its own process group keeps the terminal's Ctrl-C from it: the parent decides.
            self.process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                bufsize=0,
                pass_fds=(self._counter,),
                process_group=0,
            )
        except BaseException:
            os.close(self._counter)
            raise
        self._into, self._out, self._err = _pipes(self.process)
        self._begun = time.monotonic()
        self._answer, self._complaint = b"", b""

    def talk(
        self, request: dict[str, object], stop: StopToken, deadline_seconds: float
    ) -> Conversation:
        """Send the request, take the answer, see the child out."""
        self._become_idle()
        addressed = request | {"parent": os.getpid(), "progress": self._counter}
        line = json.dumps(addressed).encode() + b"\n"
        try:
            ending = self._converse(line, stop, self._begun + deadline_seconds)
            status = self._see_out(ending)
            self._hear_rest()
            return Conversation(
                ending=ending,
                answer=self._answer,
                complaint=self._complaint.decode(errors="replace").strip(),
                exit_status=status,
                bytes_read=self._bytes_read(),
                seconds=time.monotonic() - self._begun,
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

    def _converse(self, line: bytes, stop: StopToken, deadline: float) -> Ending:
        with selectors.DefaultSelector() as selector:
            for source in (stop, self._out, self._err):
                selector.register(source, selectors.EVENT_READ)
            selector.register(self._into, selectors.EVENT_WRITE)
            while (left := deadline - time.monotonic()) > 0:
                ready = {key.fileobj for key, _ in selector.select(left)}
                if stop in ready:
                    return Ending.STOPPED
                if self._into in ready and not (line := _send(self._into, line)):
                    selector.unregister(self._into)
                if self._err in ready and not self._hear():
                    selector.unregister(self._err)
                if self._out in ready and self._has_answered():
                    return Ending.ANSWERED
        return Ending.OVERDUE

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
        patience = LINGER_SECONDS if ending is Ending.ANSWERED else 0
        for seconds in (patience, KILL_SECONDS):
            with suppress(subprocess.TimeoutExpired):
                return self.process.wait(seconds)
            self.process.kill()
        return None

    def _bytes_read(self) -> int:
        with mmap.mmap(self._counter, 8, prot=mmap.PROT_READ) as counter:
            return int.from_bytes(counter[:8], sys.byteorder)

    def _close(self) -> None:
        os.close(self._counter)
        for stream in (self._into, self._out, self._err):
            stream.close()


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
