"""The kernel's uevents of block devices, from its own netlink group.

Group 1 is the kernel's; group 2 repeats them once udev has worked on them, and does not
exist without udev nor in a private network namespace. Kernel sources: the message is put
together in lib/kobject_uevent.c, ``ACTION@DEVPATH`` and ``KEY=VALUE`` pairs, each ended by
a NUL byte; the keys of block devices are documented in Documentation/ABI/stable/sysfs-block
and drivers/base/core.c. netlink(7): ENOBUFS says that messages were dropped.
"""

from __future__ import annotations

import errno
import socket
from typing import Any, Protocol

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.sysfs_path import last_name

SOURCE = "uevents"
_NETLINK_KOBJECT_UEVENT = 15  # linux/netlink.h
_KERNEL_GROUP = 1
_KERNEL_PORT = 0
_MESSAGE_BYTES = 8192
"""The kernel's own buffer for the pairs is 2048 bytes; before them comes one path."""
_MOST_AT_ONCE = 1000
"""Messages taken in one go, so that a storm cannot keep the caller for ever."""

LOST = KernelEvent(kind=EventKind.LOST, subject=SOURCE, action="overflow")


class Receiver(Protocol):
    """The part of a socket that is used."""

    def recvfrom(self, bufsize: int, /) -> tuple[bytes, Any]: ...
    def fileno(self) -> int: ...


def open_uevents() -> socket.socket:
    """The kernel's uevents, not blocking. Raises OSError where a sandbox refuses the socket."""
    kind = socket.SOCK_RAW | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK
    opened = socket.socket(socket.AF_NETLINK, kind, _NETLINK_KOBJECT_UEVENT)
    try:
        opened.bind((0, _KERNEL_GROUP))
    except OSError:
        opened.close()
        raise
    return opened


class BlockEvents:
    """What the socket has to tell of block devices."""

    def __init__(self, receiver: Receiver) -> None:
        self._receiver = receiver

    def fileno(self) -> int:
        """Readable when there is something to take."""
        return self._receiver.fileno()

    def take(self) -> list[KernelEvent]:
        """All that waits, without waiting for more; LOST where some were dropped."""
        events = []
        for _ in range(_MOST_AT_ONCE):
            try:
                message, sender = self._receiver.recvfrom(_MESSAGE_BYTES)
            except BlockingIOError:
                break
            except OSError as error:
                if error.errno != errno.ENOBUFS:
                    raise
                events.append(LOST)
                continue
            # Other processes with privileges can send to the group; only the kernel has port 0.
            if sender[0] == _KERNEL_PORT and (event := parse_message(message)) is not None:
                events.append(event)
        return events


def parse_message(message: bytes) -> KernelEvent | None:
    """The event a message tells of; None if it is not about a block device, or is no uevent."""
    head, *pairs = message.decode("utf-8", "backslashreplace").split("\0")
    action, at, path = head.partition("@")
    name = last_name(path)
    if not (action and at and name) or "SUBSYSTEM=block" not in pairs:
        return None
    return KernelEvent(kind=EventKind.BLOCK, subject=name, action=action)
