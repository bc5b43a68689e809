"""md's attribute texts as values. Pure.

Kernel document: Documentation/admin-guide/md.rst; where the kernel's source differs
from it (drivers/md/md.c), the source holds.
"""

from __future__ import annotations

import re
from enum import StrEnum
from typing import TypeVar

from arraygauge.inventory.scalars import parse_count, parse_signed
from arraygauge.inventory.values import ArrayState, Level, MemberState, SyncAction
from arraygauge.units import KIB, SECTOR_BYTES
from arraygauge.values import frozen

Word = TypeVar("Word", bound=StrEnum)

_NEW_AND_OLD = re.compile(r"(-?\d{1,20})(?: \(-?\d{1,20}\))?", re.ASCII)
_SPEED = re.compile(r"(\d{1,20})(?: \((?:local|system)\))?", re.ASCII)
_COMPLETED = re.compile(r"(\d{1,20}) / (\d{1,20})", re.ASCII)
_LEVEL_NUMBERS = {
    "-1": Level.LINEAR,
    "0": Level.RAID0,
    "1": Level.RAID1,
    "4": Level.RAID4,
    "5": Level.RAID5,
    "6": Level.RAID6,
    "10": Level.RAID10,
}
"""An array not yet started may show its level as a number."""


def _word(kind: type[Word], text: str) -> Word:
    """The word's value, or the kind's UNKNOWN for one this program does not know."""
    known = {member.value: member for member in kind}
    return known.get(text.strip(), known["unknown"])


def parse_level(text: str) -> Level:
    """``'raid5'``; empty, as it is before a level is chosen, is UNKNOWN."""
    return _LEVEL_NUMBERS.get(text.strip()) or _word(Level, text)


def parse_array_state(text: str) -> ArrayState:
    return _word(ArrayState, text)


def parse_sync_action(text: str) -> SyncAction:
    return _word(SyncAction, text)


def parse_new_and_old(text: str) -> int | None:
    """layout, raid_disks, chunk_size: ``'512'``, or ``'NEW (OLD)'`` during a reshape.

    NEW is what the array is becoming and what its lists of slots already count; it is
    taken. None where the kernel prints nothing (raid_disks before it is set).
    """
    if not text.strip():
        return None
    match = _NEW_AND_OLD.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not a number, nor 'NEW (OLD)': {text[:60]!r}")
    return int(match[1])


@frozen
class SyncProgress:
    """md/sync_completed: bytes done and in all, None while none runs."""

    done_bytes: int | None
    total_bytes: int | None
    delayed: bool


def parse_sync_completed(text: str) -> SyncProgress:
    """``'none'``, ``'delayed'``, or ``'DONE / TOTAL'`` in sectors."""
    word = text.strip()
    if word in ("none", "delayed"):
        return SyncProgress(done_bytes=None, total_bytes=None, delayed=word == "delayed")
    match = _COMPLETED.fullmatch(word)
    if match is None:
        raise ValueError(f"not 'DONE / TOTAL': {text[:60]!r}")
    done, total = (int(sectors) * SECTOR_BYTES for sectors in match.groups())
    return SyncProgress(done_bytes=done, total_bytes=total, delayed=False)


def parse_speed(text: str) -> int | None:
    """Bytes a second from KiB/s: ``'1000'``, ``'1000 (local)'``; None for 'none'."""
    if text.strip() == "none":
        return None
    match = _SPEED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not a speed: {text[:60]!r}")
    return int(match[1]) * KIB


def parse_slot(text: str) -> int | None:
    """A slot's number; None for 'none' (spare, faulty) and 'journal'."""
    if text.strip() in ("none", "journal"):
        return None
    return parse_count(text)


def parse_member_states(text: str) -> tuple[MemberState, ...]:
    """``'in_sync,write_mostly'``; empty is no state at all."""
    words = (word.strip() for word in text.split(","))
    return tuple(_word(MemberState, word) for word in words if word)


def parse_bad_blocks(text: str) -> int:
    """How many ranges, a line ``'START LENGTH'`` each; the kernel prints one page at most."""
    lines = [line for line in text.splitlines() if line.strip()]
    for line in lines:
        start, _, length = line.strip().partition(" ")
        parse_count(start)
        parse_count(length)
    return len(lines)


def parse_errors(text: str) -> int:
    """Sectors corrected; the kernel keeps a signed counter."""
    return parse_signed(text)


def parse_bitmap_location(text: str) -> str | None:
    """Where the write-intent bitmap is: ``'+8'`` sectors, ``'file'``; None for 'none'."""
    word = text.strip()
    return None if word in ("", "none") else word
