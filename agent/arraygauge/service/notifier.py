"""Telling systemd how the service fares, by its notification protocol.

Datagrams of lines to the socket that NOTIFY_SOCKET names, a path or, with '@', an abstract
name: sd_notify(3). How often it wants to hear of a live service is in WATCHDOG_USEC, for the
process in WATCHDOG_PID: sd_watchdog_enabled(3). Without the variables nothing is sent.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Mapping
from contextlib import suppress

SEND_SECONDS = 0.5


class Notifier:
    """For several threads: each message is one datagram."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = _address(environment.get("NOTIFY_SOCKET", ""))
        self.watchdog_seconds = _watchdog_seconds(environment) if self._address else None
        """Within which ``alive`` is expected; None where nobody watches."""
        self._status = ""

    def ready(self) -> None:
        """The start, or a reload, is over."""
        self._send("READY=1")

    def reloading(self) -> None:
        """MONOTONIC_USEC is for Type=notify-reload, of systemd 253; those before ignore it."""
        now = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
        self._send("RELOADING=1", f"MONOTONIC_USEC={now}")

    def stopping(self) -> None:
        self._send("STOPPING=1")

    def alive(self) -> None:
        """All parts make progress."""
        self._send("WATCHDOG=1")

    def status(self, line: str) -> None:
        """One line for people, where it is not what it was."""
        if line != self._status:
            self._status = line
            self._send("STATUS=" + " ".join(line.split()))

    def _send(self, *lines: str) -> None:
        """Nobody listening is no trouble of ours."""
        if self._address is None:
            return
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sending:
            sending.settimeout(SEND_SECONDS)
            sending.sendto("\n".join(lines).encode(), self._address)


def _address(name: str) -> str | None:
    if name.startswith("@"):
        return "\0" + name[1:]
    return name if name.startswith("/") else None


def _watchdog_seconds(environment: Mapping[str, str]) -> float | None:
    microseconds = environment.get("WATCHDOG_USEC", "")
    addressee = environment.get("WATCHDOG_PID", str(os.getpid()))
    if not microseconds.isdecimal() or addressee != str(os.getpid()):
        return None
    return int(microseconds) / 1e6 or None
