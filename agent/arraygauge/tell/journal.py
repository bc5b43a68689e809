"""The journal: each message with its fields, or as a line on standard error where there is none.

Datagrams are in the journal's native protocol
(https://systemd.io/JOURNAL_NATIVE_PROTOCOL/), lines with the priority prefixes of sd-daemon(3);
both from memory.
"""

from __future__ import annotations

import socket
import sys
from typing import TextIO

from arraygauge.tell.sender import Message, SendingError
from arraygauge.values import frozen

SOCKET = "/run/systemd/journal/socket"
MESSAGE_ID = "6f0c2f5d1b5e4b0f9d0a3a5a6c1e7b42"
"""Marks our messages in any journal: random, made once (systemd.journal-fields(7))."""
_PRIORITIES = {"critical": 2, "major": 3, "minor": 4, "information": 6}
"""syslog(3): 2 critical, 3 error, 4 warning, 5 notice, 6 informational."""
_NOTICE = 5


@frozen
class Journal:
    """``path`` is the journal's socket; ``stream`` what is written to where it takes nothing."""

    path: str = SOCKET
    stream: TextIO | None = None
    name: str = "journal"

    def send(self, message: Message) -> None:
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sending:
                sending.settimeout(1.0)
                sending.sendto(datagram_of(fields_of(message)), self.path)
        except OSError:
            self._print(message)

    def _print(self, message: Message) -> None:
        stream = self.stream or sys.stderr
        try:
            stream.write(f"<{priority_of(message)}>{' '.join(line_of(message).split())}\n")
            stream.flush()
        except (OSError, ValueError) as error:
            raise SendingError(f"neither the journal nor standard error: {error}") from error


def fields_of(message: Message) -> dict[str, str]:
    """Field names are upper-case letters, digits and underscores."""
    return {
        "MESSAGE": line_of(message),
        "MESSAGE_ID": MESSAGE_ID,
        "PRIORITY": str(priority_of(message)),
        "SYSLOG_IDENTIFIER": "arraygauge",
        "ARRAYGAUGE_INCIDENT": str(message["number"]),
        "ARRAYGAUGE_CHANGE": message["change"],
        "ARRAYGAUGE_MATTER": message["matter"],
        "ARRAYGAUGE_SEVERITY": message["severity"],
        "ARRAYGAUGE_CAUSE_ID": message["cause"]["stable_id"],
        "ARRAYGAUGE_CAUSE_NAME": message["cause"]["name"],
        "ARRAYGAUGE_ARRAYS": " ".join(message["arrays"]),
        "ARRAYGAUGE_TEXT": message["words"]["text"],
    }


def line_of(message: Message) -> str:
    """Headline and reason in one line, with the incident's number to look it up by."""
    words = message["words"]
    number = "" if message["test"] else f" [incident {message['number']}]"
    reason = f" {words['reason']}" if words["reason"] else ""
    return f"{words['headline']}.{reason}{number}"


def priority_of(message: Message) -> int:
    """What is over, and what is a test, is worth a notice."""
    if message["test"] or message["closed_at_seconds"] is not None:
        return _NOTICE
    return _PRIORITIES[message["severity"]]


def datagram_of(fields: dict[str, str]) -> bytes:
    """A value with a line break is sent with its length: 64 bits, little-endian."""
    return b"".join(_field(name, value.encode()) for name, value in fields.items())


def _field(name: str, value: bytes) -> bytes:
    if b"\n" not in value:
        return name.encode() + b"=" + value + b"\n"
    return name.encode() + b"\n" + len(value).to_bytes(8, "little") + value + b"\n"
