"""The inventory for the daemon: read when asked, and told of events by the kernel.

One process does both, so what it answers is never older than the events it told before.
When that process hangs in the kernel or fails, another takes its place.
"""

from __future__ import annotations

import os
import select
import time
from collections.abc import Callable
from contextlib import suppress

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.frames import ARRAYS_REQUEST, HOST_REQUEST, WATCH_REQUEST
from arraygauge.inventory.values import Host
from arraygauge.probe.stop import StopToken
from arraygauge.service.inventory_process import (
    COMMAND,
    HostUnreadableError,
    InventoryProcess,
    LeftBehind,
    Patience,
    ProcessFailedError,
    failed,
    hangs,
)

RESTART_SECONDS = (0.0, 1.0, 2.0, 5.0, 15.0, 60.0)
"""Before each start after a failure in a row; the last for all that follow."""

_NEVER = float("inf")

MISSED = KernelEvent(kind=EventKind.LOST, subject="sentinel", action="restarted")
"""What happened while no process watched nobody can tell: read the machine."""


class Sentinel:
    """Events and readings for one main loop.

    For one thread only, which has to last as long: the kernel ends the watching process with
    the thread that started it. The loop waits for ``fileno`` to be readable, no longer than
    ``seconds_to_wait``, then calls ``events``.
    """

    def __init__(
        self,
        stop: StopToken,
        command: tuple[str, ...] = COMMAND,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """``stop`` ends a ``read`` that waits; ``clock`` counts seconds for the restarts."""
        self._stop = stop
        self._command = command
        self._clock = clock
        self._epoll = select.epoll()
        self._unread = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)
        self._epoll.register(self._unread, select.EPOLLIN)
        self._process: InventoryProcess | None = None
        self._left_behind = LeftBehind()
        self._failures = 0
        self._complaint: HostUnreadableError | None = None
        self._start_at = _NEVER
        self._events: list[KernelEvent] = []
        self._refused: dict[str, str] = {}
        self._host: Host | None = None

    def start(self) -> None:
        """Begin to watch. What was before is for ``read``."""
        self._begin()

    def fileno(self) -> int:
        """Readable when ``events`` has something to do; the same for the sentinel's life."""
        return self._epoll.fileno()

    def seconds_to_wait(self) -> float | None:
        """How long ``events`` may be left uncalled if ``fileno`` stays silent; None: for ever."""
        if self._process is not None or self._start_at == _NEVER:
            return None
        return max(0.0, self._start_at - self._clock())

    def events(self) -> tuple[KernelEvent, ...]:
        """What has happened since the last call, without waiting; a failed process is replaced.

        Those that came before an answer of ``read`` are covered by it.
        """
        self._tend()
        self._receive()
        self._tend()
        events, self._events = tuple(self._events), []
        with suppress(BlockingIOError):
            os.eventfd_read(self._unread)
        return events

    def read(self, deadline_seconds: float, *, arrays_only: bool = False) -> Host | None:
        """The machine now, or ``arrays_only`` with what devices are left as they were read last;
        None once ``stop`` is set. Raises HostUnreadableError, also where the process shows no
        sign of work for ``deadline_seconds``.

        Events that come meanwhile are kept, and make ``fileno`` readable.
        """
        self._left_behind.check()
        self._tend()
        process, self._host = self._process, None
        if process is not None:
            process.ask(ARRAYS_REQUEST if arrays_only else HOST_REQUEST)
            self._wait_for_host(process, deadline_seconds)
        if self._stop.is_set():
            return None
        if self._process is not None and self._host is None:
            self._replace(self._process, hangs(self._process.pid))
            self._tend()
        host, self._host = self._host, None
        if host is None:
            raise self._complaint or failed("it was not started")
        self._failures, self._complaint = 0, None
        return host

    @property
    def problem(self) -> str | None:
        """What keeps it from seeing all; None while nothing does."""
        hung = self._left_behind.pids
        said = [self._complaint.message] if self._complaint else []
        said += [hangs(pid).message for pid in hung]
        said += [f"{source} cannot be heard: {why}" for source, why in self._refused.items()]
        return "; ".join(dict.fromkeys(said)) or None

    def close(self) -> None:
        """End the process, without waiting for one that hangs, and give all descriptors back."""
        process, self._process = self._process, None
        self._start_at = _NEVER
        self._epoll.close()
        os.close(self._unread)
        if process is not None:
            process.end()

    def _wait_for_host(self, asked: InventoryProcess, seconds: float) -> None:
        """Until the answer is there, the process failed, hangs, or ``stop`` is set."""
        poll = select.poll()
        poll.register(self._stop.fileno(), select.POLLIN)
        poll.register(asked.fileno(), select.POLLIN)
        patience = Patience(asked.pid, seconds)
        while self._process is asked and self._host is None and not self._stop.is_set():
            if not (left := patience.left()):
                return
            poll.poll(left * 1000)
            self._receive()

    def _receive(self) -> None:
        if self._process is None:
            return
        try:
            received = self._process.receive()
        except ProcessFailedError as error:
            self._replace(self._process, failed(str(error)))
            return
        for value in received:
            if isinstance(value, Host):
                self._host = value
            else:
                self._keep(value)

    def _keep(self, event: KernelEvent) -> None:
        if event.kind is EventKind.REFUSED:
            self._refused[event.subject] = event.action
        self._events.append(event)
        os.eventfd_write(self._unread, 1)

    def _tend(self) -> None:
        """Start another process where there is none and it is time."""
        if self._process is None and self._clock() >= self._start_at:
            self._begin()
            if self._process is not None:
                self._keep(MISSED)

    def _begin(self) -> None:
        try:
            process = InventoryProcess(self._command)
        except OSError as error:
            self._note_failure(failed(f"it cannot be started: {error.strerror}"))
            return
        self._refused = {}
        self._epoll.register(process.fileno(), select.EPOLLIN)
        self._process = process
        process.ask(WATCH_REQUEST)

    def _replace(self, process: InventoryProcess, why: HostUnreadableError) -> None:
        self._process = None
        self._epoll.unregister(process.fileno())
        self._left_behind.kill(process)
        self._note_failure(why)

    def _note_failure(self, why: HostUnreadableError) -> None:
        self._complaint = why
        pause = RESTART_SECONDS[min(self._failures, len(RESTART_SECONDS) - 1)]
        self._failures += 1
        self._start_at = self._clock() + pause
