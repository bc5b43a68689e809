"""The loop of the inventory's process: reads the machine when asked, tells events by itself.

It sleeps in one poll without a time limit, so it costs nothing while nothing happens. It is
a process of its own because reading md's files may hang in the kernel: then the other end,
``service.sentinel``, leaves it behind and starts another.
"""

from __future__ import annotations

import ctypes
import os
import select
import signal
import sys
import time
from collections.abc import Iterable

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.events_block import SOURCE, BlockEvents, open_uevents
from arraygauge.inventory.events_md import MdEvents
from arraygauge.inventory.frames import ARRAYS_REQUEST, HOST_REQUEST, WATCH_REQUEST, encode
from arraygauge.inventory.host import HostSource

BURST_SECONDS = 0.02
"""One failure makes several files and devices speak: what follows the first word within
this time is told together with it."""

_PR_SET_PDEATHSIG = 1  # prctl(2)
_REQUEST_BYTES = 4096


class Sentinel:
    """Serves two descriptors: requests come in lines on one, frames go out on the other."""

    def __init__(self, requests: int, answers: int, machine: HostSource | None = None) -> None:
        self._requests = requests
        self._answers = answers
        self._machine = machine or HostSource()
        self._heard = b""
        self._poll = select.poll()
        self._poll.register(requests, select.POLLIN)
        self._md = MdEvents(self._poll)
        self._block: BlockEvents | None = None

    def run(self) -> None:
        """Serve until the requests end."""
        while self._turn(self._poll.poll()):
            pass

    def _turn(self, ready: list[tuple[int, int]]) -> bool:
        events = self._take(ready)
        if events:
            time.sleep(BURST_SECONDS)
            ready = self._poll.poll(0)
            # Told before the files are opened anew: should that hang, the word is out.
            self._tell(events + self._take(ready))
            self._md.refresh()
        asked = any(descriptor == self._requests for descriptor, _ in ready)
        return self._obey() if asked else True

    def _take(self, ready: list[tuple[int, int]]) -> list[KernelEvent]:
        events = []
        for descriptor, _ in ready:
            if self._block is not None and descriptor == self._block.fileno():
                events += self._block.take()
            else:
                events += self._md.take(descriptor)
        return events

    def _obey(self) -> bool:
        """Do what was asked; False when no more will be asked."""
        received = os.read(self._requests, _REQUEST_BYTES)
        *lines, self._heard = (self._heard + received).split(b"\n")
        for line in lines:
            if line == HOST_REQUEST:
                self._write(encode(self._machine.read()))
            elif line == ARRAYS_REQUEST:
                self._write(encode(self._machine.read_arrays()))
            elif line == WATCH_REQUEST:
                self._watch()
            else:
                sys.exit(f"no such request: {line!r}")
        return bool(received)

    def _watch(self) -> None:
        """From now on tell what happens, and do not outlive who listens."""
        _die_with_parent()
        try:
            self._block = BlockEvents(open_uevents())
        except OSError as error:
            reason = error.strerror or type(error).__name__
            self._tell([KernelEvent(kind=EventKind.REFUSED, subject=SOURCE, action=reason)])
        else:
            self._poll.register(self._block.fileno(), select.POLLIN)
        self._md.refresh()

    def _tell(self, events: Iterable[KernelEvent]) -> None:
        """Each once, all in one piece: one wake at the other end."""
        self._write(b"".join(encode(event) for event in dict.fromkeys(events)))

    def _write(self, content: bytes) -> None:
        left = memoryview(content)
        while left:
            left = left[os.write(self._answers, left) :]


def _die_with_parent() -> None:
    """The kernel kills this process when the thread that started it ends."""
    if ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, ctypes.c_ulong(signal.SIGKILL), 0, 0, 0) != 0:
        sys.exit("prctl(PR_SET_PDEATHSIG) was refused")
