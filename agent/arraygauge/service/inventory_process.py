"""The other end of the inventory's process: ``inventory.sentinel`` serves there.

Files of md, and of drivers whose hardware died, can hold a reader in the kernel for as long as
the fault lasts. Were it a thread of the agent, the agent could neither go on nor end.
"""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
from contextlib import suppress

from arraygauge.errors import MachineTroubleError
from arraygauge.inventory.events import KernelEvent
from arraygauge.inventory.frames import FrameError, Frames
from arraygauge.inventory.values import Host
from arraygauge.inventory.work import worked_seconds

# -P: modules are not looked for in the directory that somebody happened to start it in.
COMMAND = (sys.executable, "-P", "-m", "arraygauge.inventory")
DEADLINE_SECONDS = 10.0
"""Without a sign of work. What hangs in the kernel takes no processor time; on a slow or busy
machine an answer may take longer, but then there is some."""
MOST_TIMES = 3
"""So many times that, and no answer is waited for any longer."""
_LOOKS = 10
"""In that time, for a sign of work."""
_PIECE_BYTES = 1 << 20
_LAST_WORDS_BYTES = 4096


class HostUnreadableError(MachineTroubleError):
    """The inventory could not be read in time, or at all."""


class ProcessFailedError(Exception):
    """The inventory's process ended, or wrote what it should not. Says why."""


class InventoryProcess:
    """One such process, from its start to its end. For one thread: the one that starts it."""

    def __init__(self, command: tuple[str, ...]) -> None:
        """Raises OSError when it cannot be started."""
        # Its own process group keeps the terminal's Ctrl-C from it: the agent decides.
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            process_group=0,
        )
        # They were asked for as pipes.
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        self._requests = self._process.stdin
        self._answers = self._process.stdout
        self._errors = self._process.stderr
        for pipe in (self._answers, self._errors):
            os.set_blocking(pipe.fileno(), False)
        self._frames = Frames()
        self._words = b""

    @property
    def pid(self) -> int:
        return self._process.pid

    def fileno(self) -> int:
        """Readable when there is something to receive, the process's end included."""
        return self._answers.fileno()

    def ask(self, request: bytes) -> None:
        """Send a request. If the process has ended, ``receive`` will say so."""
        with suppress(BrokenPipeError):
            self._requests.write(request + b"\n")

    def wait(self, seconds: float) -> None:
        """Until there is something to receive, or for so long."""
        poll = select.poll()
        poll.register(self.fileno(), select.POLLIN)
        poll.poll(seconds * 1000)

    def receive(self) -> list[Host | KernelEvent]:
        """What has come, without waiting. Raises ProcessFailedError."""
        self._listen_to_words()
        try:
            piece = os.read(self.fileno(), _PIECE_BYTES)
        except BlockingIOError:
            return []
        if not piece:
            raise ProcessFailedError(self._why_it_ended())
        try:
            return self._frames.feed(piece)
        except FrameError as error:
            raise ProcessFailedError(str(error)) from error

    def has_ended(self) -> bool:
        return self._process.poll() is not None

    def end(self) -> bool:
        """Stop it: nicely, then by force, and not for long. False if the kernel holds it."""
        self._close_pipes()
        return self._ends_within(0.5) or self.kill()

    def kill(self) -> bool:
        """Stop it by force. False if the kernel holds it."""
        self._process.kill()
        self._close_pipes()
        return self._ends_within(0.2)

    def _ends_within(self, seconds: float) -> bool:
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(seconds)
        return self.has_ended()

    def _close_pipes(self) -> None:
        for pipe in (self._requests, self._answers, self._errors):
            pipe.close()

    def _listen_to_words(self) -> None:
        """Keep its error output from filling the pipe, and the end of it for the report."""
        with suppress(BlockingIOError):
            while said := os.read(self._errors.fileno(), _LAST_WORDS_BYTES):
                self._words = (self._words + said)[-_LAST_WORDS_BYTES:]

    def _why_it_ended(self) -> str:
        ended = self._ends_within(0.05)  # its output may end a moment before it does
        self._listen_to_words()
        lines = self._words.decode(errors="replace").strip().splitlines()
        if lines:
            return lines[-1][:300]
        return f"exit status {self._process.returncode}" if ended else "it closed its output"


class Patience:
    """For one answer of a process: how long it is still waited for."""

    def __init__(self, process_id: int, seconds: float) -> None:
        self._process_id, self._seconds = process_id, seconds
        self._worked = worked_seconds(process_id)
        self._until = time.monotonic() + seconds
        self._end = time.monotonic() + MOST_TIMES * seconds

    def left(self) -> float:
        """Seconds until this has to be asked again; none left, and it is given up."""
        worked = worked_seconds(self._process_id)
        now = time.monotonic()
        if worked != self._worked:
            self._worked, self._until = worked, now + self._seconds
        left = min(self._until, self._end) - now
        return max(0.0, min(left, self._seconds / _LOOKS))


class LeftBehind:
    """Processes that the kernel does not let go of, not even when they are killed."""

    MOST = 3
    """More would pile up as long as a fault lasts: then no more are sent after them."""

    def __init__(self) -> None:
        self._processes: list[InventoryProcess] = []

    def kill(self, process: InventoryProcess) -> None:
        """End a process by force, without waiting for one that hangs."""
        if not process.kill():
            self._processes.append(process)

    @property
    def pids(self) -> tuple[int, ...]:
        """Of those that still hang, the oldest first."""
        self._processes = [each for each in self._processes if not each.has_ended()]
        return tuple(each.pid for each in self._processes)

    def check(self) -> None:
        """Raises HostUnreadableError while as many as may be are left behind."""
        if len(pids := self.pids) >= self.MOST:
            raise hangs(pids[0])


def hangs(pid: int) -> HostUnreadableError:
    """A process did not answer in time."""
    return HostUnreadableError(
        f"reading the machine's state hangs in the kernel (process {pid})",
        "look for a drive that does not answer: the kernel log, cables and power",
    )


def failed(complaint: str) -> HostUnreadableError:
    """A process ended, or answered with nonsense."""
    return HostUnreadableError(
        f"the process that reads the inventory failed: {complaint}",
        "this is a fault of arraygauge: please report it",
    )
