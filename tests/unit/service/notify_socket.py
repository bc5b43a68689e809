"""The other end of systemd's notification protocol, for tests: sd_notify(3)."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Listener:
    """Keeps every datagram with the time it came."""

    name: str
    receiving: socket.socket
    heard: list[str] = field(default_factory=list)

    def hear(self, seconds: float) -> None:
        """All that comes within so long."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            self.receiving.settimeout(left)
            try:
                self.heard.append(self.receiving.recv(4096).decode())
            except TimeoutError:
                return

    def hear_until(self, beginning: str, seconds: float = 20.0) -> str:
        """The first datagram, of those not heard yet, that begins so."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            self.receiving.settimeout(left)
            said = self.receiving.recv(4096).decode()
            self.heard.append(said)
            if said.startswith(beginning):
                return said
        raise AssertionError(f"{beginning} did not come: {self.heard}")


@contextmanager
def listening(name: str) -> Iterator[Listener]:
    """At a path, or at an abstract name that begins with '@'."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as receiving:
        receiving.bind("\0" + name[1:] if name.startswith("@") else name)
        yield Listener(name, receiving)
