"""The process that takes a trial's array down when the trial itself has died.

It is started before the first array is made, in a session of its own, and waits for the end of
its standard input: the trial's death, however it came, closes that. What asks a process to end
it does not hear: it ends by itself once no array of a trial is left. The trial's lock is handed
down to it, so that the next trial begins after it has finished.

Run isolated by a bare interpreter: it imports nothing.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator

BLOCK = "/sys/block"
PREFIX = "md_agtrial"
"""Names nobody else uses; md gives such a device no number that means anything."""
PATIENCE_SECONDS = 60.0
PAUSE_SECONDS = 0.05


def leftovers() -> Iterator[str]:
    """The trial's arrays there are: by their names, and without metadata, as nobody keeps one."""
    for name in sorted(os.listdir(BLOCK)):
        if name.startswith(PREFIX) and _metadata(name) in ("none", None):
            yield name


def _metadata(name: str) -> str | None:
    """The kernel's word for it; None of an array that is just going away."""
    try:
        with open(f"{BLOCK}/{name}/md/metadata_version", encoding="ascii") as file:
            return file.read().strip()
    except OSError:
        return None


def take_down(seconds: float) -> tuple[str, ...]:
    """Stop them all, and try again while they are busy: what is left after so many seconds.

    A stopped array's name stays until its last user has closed it, and is then gone.
    """
    deadline = time.monotonic() + seconds
    while found := tuple(leftovers()):
        for name in found:
            _clear(name)
        if time.monotonic() > deadline:
            return tuple(leftovers())
        time.sleep(PAUSE_SECONDS)
    return ()


def _clear(name: str) -> None:
    """Whatever its state; it may be busy, or go away meanwhile."""
    try:
        fd = os.open(f"{BLOCK}/{name}/md/array_state", os.O_WRONLY)
        try:
            os.write(fd, b"clear")
        finally:
            os.close(fd)
    except OSError:
        return


def main() -> None:
    """Wait for the trial's end, then for that of its arrays."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT):
        signal.signal(number, signal.SIG_IGN)
    print("ready", flush=True)
    while sys.stdin.buffer.read(1):
        pass
    take_down(PATIENCE_SECONDS)
