"""Single values as sysfs prints them: numbers, flags, the bracketed choice, device numbers.

Every parser raises ValueError for a text that is not of its form; the reader turns
that into a 'malformed' problem.
"""

from __future__ import annotations

import re

from arraygauge.inventory.values import DeviceNumber
from arraygauge.units import KIB, SECTOR_BYTES

_COUNT = re.compile(r"\s*([0-9]{1,20})\s*", re.ASCII)
_SIGNED = re.compile(r"\s*(-?[0-9]{1,20})\s*", re.ASCII)
_DEVICE_NUMBER = re.compile(r"\s*([0-9]{1,7}):([0-9]{1,7})\s*", re.ASCII)
_CHOICE = re.compile(r"\[([^\]\s]+)\]")


def parse_count(text: str) -> int:
    """A number without sign: ``'8'`` is 8."""
    match = _COUNT.fullmatch(text)
    if match is None:
        raise ValueError(f"not a number: {text[:60]!r}")
    return int(match[1])


def parse_signed(text: str) -> int:
    """A number that may be negative: ``'-1'`` is -1."""
    match = _SIGNED.fullmatch(text)
    if match is None:
        raise ValueError(f"not a number: {text[:60]!r}")
    return int(match[1])


def parse_mask(text: str) -> int:
    """Bytes of alignment from the mask of the bits below it: ``'511'`` is 512."""
    alignment = parse_count(text) + 1
    if alignment & (alignment - 1):
        raise ValueError(f"not a mask: {text[:60]!r}")
    return alignment


def parse_sectors(text: str) -> int:
    """Bytes from a number of 512-byte sectors."""
    return parse_count(text) * SECTOR_BYTES


def parse_kib(text: str) -> int:
    """Bytes from a number of KiB."""
    return parse_count(text) * KIB


def parse_flag(text: str) -> bool:
    """``'0'`` or ``'1'``."""
    if text.strip() not in ("0", "1"):
        raise ValueError(f"neither 0 nor 1: {text[:60]!r}")
    return text.strip() == "1"


def parse_device_number(text: str) -> DeviceNumber:
    """``'8:16'`` is (8, 16)."""
    match = _DEVICE_NUMBER.fullmatch(text)
    if match is None:
        raise ValueError(f"not a device number: {text[:60]!r}")
    return int(match[1]), int(match[2])


def parse_choice(text: str) -> str:
    """The chosen word: ``'none [mq-deadline] bfq'`` is 'mq-deadline', a lone word is itself."""
    if match := _CHOICE.search(text):
        return match[1]
    if len(words := text.split()) == 1:
        return words[0]
    raise ValueError(f"no choice marked: {text[:60]!r}")


def parse_label(text: str) -> str | None:
    """A model or serial for people: printable, single-spaced, None if nothing is left.

    Firmware pads with blanks and sometimes with rubbish; a control character must
    not reach a terminal.
    """
    shown = "".join(char if char.isprintable() else " " for char in text)
    return " ".join(shown.split()) or None
