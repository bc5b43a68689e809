"""Commands in the guest: running, and completed."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from signal import SIGKILL

from lab.channel import Channel
from lab.host import LabError


@dataclass(frozen=True, slots=True, kw_only=True)
class Completed:
    """A command that has ended: exit status (negative for a signal) and what it wrote."""

    status: int
    stdout: str
    stderr: str

    def checked(self) -> Completed:
        """Itself when the status is 0; else LabError with what the command wrote."""
        if self.status != 0:
            raise LabError(f"status {self.status} in the guest: {self.stdout}{self.stderr}")
        return self


class Running:
    """A command that was started in the guest; ``Guest.start`` makes it."""

    def __init__(self, channel: Channel, request_id: int) -> None:
        self._channel = channel
        self._request_id = request_id

    def signal(self, number: int) -> None:
        """Sends the command a signal; nothing happens when it has ended."""
        self._channel.ask("signal", target=self._request_id, number=number, group=False)

    def kill(self) -> None:
        """SIGKILL to the command and the rest of its process group."""
        self._channel.ask("signal", target=self._request_id, number=SIGKILL, group=True)

    def wait(self, timeout_seconds: float = 60) -> Completed:
        """The ended command. At the time-out kills it and raises TimeoutError with its output."""
        ended: dict[str, str] = {"stdout": "", "stderr": ""}
        status = 0
        try:
            for kind, value in self._answers(timeout_seconds):
                if kind == "status":
                    status = int(value)
                else:
                    ended[kind] += str(value)
        except TimeoutError:
            self.kill()
            raise
        return Completed(status=status, **ended)

    def follow(self, timeout_seconds: float = 60) -> Iterator[str]:
        """What it writes on both streams, as it comes, from its start to its end.

        TimeoutError when it has not ended in time; it is left running.
        """
        for kind, value in self._answers(timeout_seconds):
            if kind != "status":
                yield str(value)

    def wait_for_output(self, expected: str, timeout_seconds: float = 60) -> str:
        """All it has written, once that includes the text expected; LabError if it ends before."""
        written = ""
        for text in self.follow(timeout_seconds):
            written += text
            if expected in written:
                return written
        raise LabError(f"the command ended without writing '{expected}': {written}")

    def _answers(self, timeout_seconds: float) -> Iterator[tuple[str, str | int]]:
        """Pairs of stdout or stderr and text, then of status and number."""
        deadline = time.monotonic() + timeout_seconds
        index = 0
        written = ""
        while True:
            try:
                answer = self._channel.answer(self._request_id, index, deadline)
            except TimeoutError as error:
                raise TimeoutError(f"not ended in {timeout_seconds} s; wrote: {written}") from error
            yield from answer.items()
            if "status" in answer:
                return
            written += "".join(answer.values())
            index += 1
