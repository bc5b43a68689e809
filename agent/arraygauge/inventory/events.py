"""What the kernel made known of itself, without being asked."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.values import frozen


class EventKind(StrEnum):
    """Who spoke, or what kept us from hearing. Our own words, so no UNKNOWN among them."""

    MD = "md"
    """A pollable file of md changed."""
    BLOCK = "block"
    """A uevent of a block device."""
    LOST = "lost"
    """Events were missed: only reading everything tells what they were."""
    REFUSED = "refused"
    """A source of events cannot be listened to; ``action`` says why."""


@frozen
class KernelEvent:
    """One reason to look again. It says where something happened, never what is so now."""

    kind: EventKind
    subject: str
    """The array's or device's name as in /sys/class/block, or the source's, such as mdstat."""
    action: str
    """MD: the file below the array's md directory, such as ``degraded`` or ``dev-sda/state``.
    BLOCK: the kernel's word, such as ``add``, ``remove`` or ``change``."""
