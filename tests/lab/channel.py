"""The host's end of the guest agent: requests out, answers kept for whoever waits for them."""

from __future__ import annotations

import itertools
import json
import socket
import threading
import time
from contextlib import suppress
from typing import Any

from lab.host import LabError

Answer = dict[str, Any]
READY = 0
"""The request id under which the agent's first word is kept."""


class Channel:
    """Any thread may ask; one thread of its own reads."""

    def __init__(self, connection: socket.socket) -> None:
        """Takes over a connected socket; the guest need not be up yet: see ``wait_ready``."""
        self._connection = connection
        self._ids = itertools.count(READY + 1)
        self._answers: dict[int, list[Answer]] = {}
        self._changed = threading.Condition()
        self._hung_up = False
        threading.Thread(target=self._read, name="lab-channel", daemon=True).start()

    def wait_ready(self, timeout_seconds: float) -> None:
        """Returns when the agent serves; TimeoutError or LabError when it does not come up."""
        self.answer(READY, 0, time.monotonic() + timeout_seconds)

    def request(self, do: str, **fields: object) -> int:
        """Sends a request; the id its answers carry."""
        with self._changed:
            request_id = next(self._ids)
            line = json.dumps({"id": request_id, "do": do, **fields}).encode() + b"\n"
            self._connection.sendall(line)
        return request_id

    def ask(self, do: str, timeout_seconds: float = 30, **fields: object) -> Answer:
        """The one answer to a request; OSError as it happened in the guest."""
        request_id = self.request(do, **fields)
        answer = self.answer(request_id, 0, time.monotonic() + timeout_seconds)
        with self._changed:
            del self._answers[request_id]
        return answer

    def answer(self, request_id: int, index: int, deadline: float) -> Answer:
        """The index-th answer to a request, waited for; errors are raised.

        TimeoutError at the deadline, LabError when the guest is gone, OSError when the
        guest could not do what was asked.
        """
        with self._changed:
            while len(answers := self._answers.get(request_id, [])) <= index:
                if self._hung_up:
                    raise LabError("the guest is gone")
                if not self._changed.wait(max(0.0, deadline - time.monotonic())):
                    raise TimeoutError("the guest did not answer in time")
        answer = answers[index]
        if "error" not in answer:
            return answer
        if answer["errno"] is None:
            raise LabError(answer["error"])
        raise OSError(answer["errno"], answer["error"])

    def _read(self) -> None:
        """Ends when the guest does: its end of the socket is closed with QEMU."""
        with suppress(ConnectionError), self._connection.makefile("rb") as lines:
            for line in lines:
                answer: Answer = json.loads(line)
                with self._changed:
                    self._answers.setdefault(answer.pop("id", READY), []).append(answer)
                    self._changed.notify_all()
        with self._changed:
            self._hung_up = True
            self._changed.notify_all()
