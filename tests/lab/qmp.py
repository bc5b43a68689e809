"""QEMU's machine protocol: one command at a time over a connected socket.

Source: QEMU, docs/interop/qmp-spec.txt.
"""

from __future__ import annotations

import json
import socket
import time
from collections import deque
from collections.abc import Callable
from typing import Any

from lab.host import LabError


class Monitor:
    """Sends commands, returns what they return, keeps events until asked for."""

    def __init__(self, connection: socket.socket, *, timeout_seconds: float = 30) -> None:
        """Reads the greeting and enters command mode; LabError when QEMU does not answer."""
        self._connection = connection
        self._timeout_seconds = timeout_seconds
        self._pending = b""
        self._events: deque[dict[str, Any]] = deque(maxlen=1000)
        deadline = time.monotonic() + timeout_seconds
        self._read_until(lambda message: "QMP" in message, deadline)
        self.execute("qmp_capabilities")

    def execute(self, command: str, **arguments: object) -> Any:
        """What the command returns; LabError with QEMU's own words when it refuses."""
        request = json.dumps({"execute": command, "arguments": arguments})
        deadline = time.monotonic() + self._timeout_seconds
        self._connection.sendall(request.encode() + b"\n")
        answer = self._read_until(lambda message: "event" not in message, deadline)
        if "error" in answer:
            raise LabError(f"QEMU refused {command} {arguments}: {answer['error']['desc']}")
        return answer["return"]

    def wait_for_event(self, name: str, *, device: str, timeout_seconds: float) -> None:
        """Returns when the event about the device has come, now or earlier; LabError if not."""

        def wanted(message: dict[str, Any]) -> bool:
            return message.get("event") == name and message["data"].get("device") == device

        if not any(wanted(event) for event in self._events):
            self._read_until(wanted, time.monotonic() + timeout_seconds)

    def _read_until(
        self, wanted: Callable[[dict[str, Any]], bool], deadline: float
    ) -> dict[str, Any]:
        while True:
            message: dict[str, Any] = json.loads(self._read_line(deadline))
            if "event" in message:
                self._events.append(message)
            if wanted(message):
                return message

    def _read_line(self, deadline: float) -> bytes:
        while b"\n" not in self._pending:
            self._connection.settimeout(max(0.001, deadline - time.monotonic()))
            try:
                received = self._connection.recv(65536)
            except TimeoutError as error:
                raise LabError("QEMU did not answer in time") from error
            if not received:
                raise LabError("QEMU closed its monitor")
            self._pending += received
        line, _, self._pending = self._pending.partition(b"\n")
        return line
