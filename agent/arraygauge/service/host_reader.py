"""The inventory for commands: read when asked, in a process that can be left behind."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from arraygauge.inventory.frames import HOST_REQUEST
from arraygauge.inventory.values import Host
from arraygauge.service.inventory_process import (
    COMMAND,
    DEADLINE_SECONDS,
    HostUnreadableError,
    InventoryProcess,
    LeftBehind,
    Patience,
    ProcessFailedError,
    failed,
    hangs,
)


class HostReader:
    """Reads one machine as often as asked, by one process as long as that answers.

    For one thread at a time. A process that hangs is killed and not waited for; the next
    reading begins a new one, and at most ``LeftBehind.MOST`` are left behind so.
    """

    def __init__(
        self, command: tuple[str, ...] = COMMAND, deadline_seconds: float = DEADLINE_SECONDS
    ) -> None:
        self._command = command
        self._deadline_seconds = deadline_seconds
        self._process: InventoryProcess | None = None
        self._left_behind = LeftBehind()

    def read(self) -> Host:
        """The machine now. Raises HostUnreadableError naming what to look at."""
        self._left_behind.check()
        process = self._process = self._process or InventoryProcess(self._command)
        try:
            host = self._ask(process)
        except ProcessFailedError as error:
            self._give_up(process)
            raise failed(str(error)) from error
        if host is None:
            self._give_up(process)
            raise hangs(process.pid)
        return host

    def close(self) -> None:
        """End the process, without waiting for one that hangs."""
        process, self._process = self._process, None
        if process is not None:
            process.end()

    def _ask(self, process: InventoryProcess) -> Host | None:
        """The answer; None when none came in time."""
        process.ask(HOST_REQUEST)
        patience = Patience(process.pid, self._deadline_seconds)
        while left := patience.left():
            process.wait(left)
            for answer in process.receive():
                if isinstance(answer, Host):
                    return answer
        return None

    def _give_up(self, process: InventoryProcess) -> None:
        self._process = None
        self._left_behind.kill(process)


@contextmanager
def host_reader() -> Iterator[HostReader]:
    """A reader that is closed in the end."""
    reader = HostReader()
    try:
        yield reader
    finally:
        reader.close()


__all__ = ["HostReader", "HostUnreadableError", "host_reader"]
