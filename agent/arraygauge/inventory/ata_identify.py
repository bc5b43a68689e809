"""What an ATA drive says of itself: IDENTIFY DEVICE, kept by libata when it probed the drive.

Kernel document: Documentation/ABI/testing/sysfs-ata (ata_device/*/id: 256 words in
hexadecimal). Word numbers from the kernel's include/linux/ata.h. Reading the file
asks the drive nothing.
"""

from __future__ import annotations

import re

from arraygauge.inventory.scalars import parse_label
from arraygauge.values import frozen

_WORDS = 256
_SERIAL = range(10, 20)
_MODEL = range(27, 47)
_SATA_CAPABILITY = 76
_GENERATIONS = ((3, 6_000_000_000), (2, 3_000_000_000), (1, 1_500_000_000))
_WORD = re.compile(r"[0-9a-f]{4}")


@frozen
class AtaIdentity:
    """The parts of IDENTIFY DEVICE that inventory needs."""

    model: str | None
    serial: str | None
    fastest_bits_per_second: int | None
    """The fastest SATA generation the drive says it speaks; None for PATA and emulations."""


def parse_identify(text: str) -> AtaIdentity:
    """The drive's model, serial and fastest link from 256 hexadecimal words."""
    words = text.split()
    if len(words) != _WORDS or not all(_WORD.fullmatch(word) for word in words):
        raise ValueError("not the 256 words of an ATA identity")
    return AtaIdentity(
        model=_string(words, _MODEL),
        serial=_string(words, _SERIAL),
        fastest_bits_per_second=_fastest(int(words[_SATA_CAPABILITY], 16)),
    )


def _string(words: list[str], places: range) -> str | None:
    """ATA strings are two characters a word, the first in the high byte."""
    content = b"".join(bytes.fromhex(words[place]) for place in places)
    return parse_label(content.decode("latin-1"))


def _fastest(capability: int) -> int | None:
    if capability == 0xFFFF:  # a drive older than the word
        return None
    return next((rate for bit, rate in _GENERATIONS if capability >> bit & 1), None)
