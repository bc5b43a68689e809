"""Open pages are told that there is something new: server-sent events.

https://html.spec.whatwg.org/multipage/server-sent-events.html. Each page costs a descriptor and
no thread: its connection is taken over once its request was answered, and one thread speaks to
all of them.
"""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from arraygauge.probe.stop import StopToken
from arraygauge.service.bell import Bell, wait_for
from arraygauge.service.parts import Pulse

MOST_FOLLOWING = 64
"""Open pages that are told; more must look for themselves."""
SIGN_SECONDS = 15.0
"""How often something is said to whoever follows, so that both sides notice the other's end."""
LOOK_SECONDS = 2.0
"""How often it is looked whether anything changed, while anybody follows."""
BUSY_SECONDS = 30.0
"""Longer than looking and telling can take."""
RETRY = b"retry: 5000\n\n"
"""Milliseconds a page waits before it comes again."""


class Followers:
    """A part of the daemon. ``revision`` is a number that is another once a page would show
    something else; it is asked only while anybody follows."""

    def __init__(self, revision: Callable[[], int], stop: StopToken) -> None:
        self._revision = revision
        self._stop = stop
        self._lock = threading.Lock()
        self._arrived = Bell()
        self._following: list[socket.socket] = []

    @property
    def count(self) -> int:
        with self._lock:
            return len(self._following)

    @property
    def has_room(self) -> bool:
        """Whether one more can be taken; those that have left are let go first."""
        with self._lock:
            if len(self._following) >= MOST_FOLLOWING:
                self._keep_if(_is_there)
            return len(self._following) < MOST_FOLLOWING

    def take(self, connection: socket.socket) -> None:
        """Whose request was answered with an open end; from now on it is ours to close."""
        connection.setblocking(False)
        with self._lock:
            # Once told to stop, the part that would let it go may be over already.
            if self._stop.is_set() or len(self._following) >= MOST_FOLLOWING:
                connection.close()
                return
            self._following.append(connection)
        self._arrived.ring()

    def run(self, pulse: Pulse) -> None:
        """Until told to stop."""
        told: int | None = None
        signed = time.monotonic()
        try:
            while not self._stop.is_set():
                pulse.well()
                pulse.rest()
                wait_for((self._stop, self._arrived), LOOK_SECONDS if self.count else None)
                pulse.busy(BUSY_SECONDS)
                arrived = self._arrived.answer()
                if self._stop.is_set() or not self.count:
                    continue
                revision = self._revision()
                due = time.monotonic() - signed >= SIGN_SECONDS
                if arrived or due or revision != told:
                    told, signed = revision, time.monotonic()
                    self._tell(f"data: {revision}\n\n".encode())
        finally:
            self._tell(None)

    def _tell(self, event: bytes | None) -> None:
        """To all, or None to let all go."""
        with self._lock:
            self._keep_if(lambda each: event is not None and _is_there(each) and _say(each, event))

    def _keep_if(self, stays: Callable[[socket.socket], bool]) -> None:
        kept = []
        for each in self._following:
            if stays(each):
                kept.append(each)
            else:
                with suppress(OSError):
                    each.close()
        self._following = kept


def _is_there(connection: socket.socket) -> bool:
    """Whoever follows says nothing more; that there is something to read is the end."""
    try:
        connection.recv(1)
    except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
        return True
    except OSError:
        return False
    return False


def _say(connection: socket.socket, event: bytes) -> bool:
    """Events are tiny: who has no room for one has not read for very long."""
    try:
        return connection.send(event) == len(event)
    except OSError:
        return False
