"""One trial at a time, and a warden beside it that outlives its death."""

from __future__ import annotations

import fcntl
import os
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from arraygauge.errors import MachineTroubleError
from arraygauge.history.regular import open_regular
from arraygauge.probe.runner import child_command

WARDEN = child_command("arraygauge.trial.warden")
WAIT_SECONDS = 70.0
"""A warden that takes down what a dead trial left needs some of it."""
DISMISS_SECONDS = 3.0


class Warden:
    """The process; ``ensure`` starts it, and again if it was ended."""

    def __init__(self, lock: int, command: tuple[str, ...] = WARDEN) -> None:
        self._lock, self._command = lock, command
        self._process: subprocess.Popen[bytes] | None = None

    def ensure(self) -> None:
        """It waits from here on. Raises MachineTroubleError where it cannot be started."""
        if self._process is not None and self._process.poll() is None:
            return
        self._hang_up()
        try:
            process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                bufsize=0,
                pass_fds=(self._lock,),
                start_new_session=True,
            )
        except OSError as error:
            raise _no_warden(str(error)) from error
        self._process = process
        if process.stdout is None or process.stdout.readline() != b"ready\n":
            raise _no_warden("it ended at once")

    def dismiss(self) -> None:
        """It ends once no array is left, which is at once where the trial has done its work;
        where it has not, the warden goes on trying by itself."""
        self._hang_up()
        if self._process is not None:
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(DISMISS_SECONDS)

    def _hang_up(self) -> None:
        """What a process hears when the trial has ended."""
        if self._process is not None:
            for stream in (self._process.stdin, self._process.stdout):
                if stream is not None:
                    stream.close()


def _no_warden(why: str) -> MachineTroubleError:
    return MachineTroubleError(
        f"the process that would take the trial's array down could not be started: {why}",
        "free some memory; without it nothing is built",
    )


@contextmanager
def sole_trial(directory: Path) -> Iterator[Warden]:
    """The one trial of this machine, with its warden waiting.

    Raises MachineTroubleError while another runs.
    """
    path = directory / "trial.lock"
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = open_regular(path, os.O_RDWR | os.O_CREAT)
    except OSError as error:
        raise MachineTroubleError(
            f"{path}: cannot be made or opened: {error.strerror}", "let root write there"
        ) from error
    try:
        _lock(lock, path)
        warden = Warden(lock)
        try:
            warden.ensure()
            yield warden
        finally:
            warden.dismiss()
    finally:
        os.close(lock)


def _lock(lock: int, path: Path) -> None:
    deadline = time.monotonic() + WAIT_SECONDS
    while True:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if _is_running(path) or time.monotonic() > deadline:
                raise MachineTroubleError(
                    "another trial runs on this machine", "let it end, or end it, first"
                ) from None
            time.sleep(0.1)
        else:
            os.ftruncate(lock, 0)
            os.pwrite(lock, f"{os.getpid()}\n".encode("ascii"), 0)
            return


def _is_running(path: Path) -> bool:
    """Whether the trial that took the lock lives; if not, only its warden still holds it."""
    try:
        process_id = int(path.read_text(encoding="ascii", errors="replace"))
        os.kill(process_id, 0)
    except (OSError, ValueError):
        return False
    return True
