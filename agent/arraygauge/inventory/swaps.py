"""/proc/swaps: which devices and files the kernel swaps to. Source: proc(5)."""

from __future__ import annotations

import re

from arraygauge.inventory.tree import Reader

PATH = "/proc/swaps"
_ESCAPE = re.compile(r"\\([0-7]{3})")


def read_swaps(reader: Reader) -> tuple[str, ...]:
    """The paths in use, as the kernel prints them; empty where it has no swap at all."""
    return parse_swaps(reader.text(PATH) or "")


def parse_swaps(text: str) -> tuple[str, ...]:
    """The first column below the heading; blanks in it come as octal digits."""
    lines = (line.split() for line in text.splitlines()[1:])
    return tuple(
        _ESCAPE.sub(lambda match: chr(int(match[1], 8)), line[0]) for line in lines if line
    )
