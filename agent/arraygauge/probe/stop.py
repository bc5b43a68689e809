"""A way to say 'stop' that a poll can wait for and a signal handler can use."""

from __future__ import annotations

import os
import select


class StopToken:
    """Once set, it stays set, and every poll that watches it wakes.

    ``set`` makes one write(2) to an eventfd(2) and takes no lock, so a signal
    handler may call it.
    """

    def __init__(self) -> None:
        self._fd = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)

    def fileno(self) -> int:
        """Readable once set; never read from it."""
        return self._fd

    def set(self) -> None:
        if self._fd >= 0:
            os.eventfd_write(self._fd, 1)

    def is_set(self) -> bool:
        return self.wait(0)

    def wait(self, seconds: float | None) -> bool:
        """Sleep until it is set, or for so long (None: for ever); says whether it is set."""
        poll = select.poll()
        poll.register(self._fd, select.POLLIN)
        return bool(poll.poll(None if seconds is None else seconds * 1000))

    def close(self) -> None:
        """Give the descriptor back; setting it afterwards does nothing."""
        fd, self._fd = self._fd, -1
        os.close(fd)
