"""A way to wake a thread that waits in a poll, as often as there is news."""

from __future__ import annotations

import os
import select
from collections.abc import Iterable
from contextlib import suppress
from typing import Protocol


class Readable(Protocol):
    """What a poll can wait for."""

    def fileno(self) -> int: ...


class Bell:
    """Rung by any thread, or by a signal handler: ``ring`` makes one write(2) to an eventfd(2)
    and takes no lock. Rings that nobody has answered yet are one."""

    def __init__(self) -> None:
        self._fd = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)

    def fileno(self) -> int:
        """Readable when it was rung."""
        return self._fd

    def ring(self) -> None:
        os.eventfd_write(self._fd, 1)

    def answer(self) -> bool:
        """Whether it was rung since the last answer."""
        with suppress(BlockingIOError):
            return os.eventfd_read(self._fd) > 0
        return False


def wait_for(sources: Iterable[Readable], seconds: float | None) -> None:
    """Sleep until one of them is readable, or for so long (None: for ever)."""
    poll = select.poll()
    for source in sources:
        poll.register(source, select.POLLIN)
    poll.poll(None if seconds is None else max(seconds, 0.0) * 1000)
