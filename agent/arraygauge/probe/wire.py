"""Parts of a child's answer, checked one by one; each raises TypeError or ValueError."""

from __future__ import annotations

_LARGEST = 2**63 - 1


def whole(value: object) -> int:
    """A whole number from 0 up that a disk could hold."""
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= _LARGEST:
        raise TypeError(f"{str(value)[:40]!r} is not a whole number from 0 up")
    return value


def text(value: object, most: int = 200) -> str:
    """Text, cut to so many characters."""
    if not isinstance(value, str):
        raise TypeError("text expected")
    return value[:most]


def items(value: object) -> list[object]:
    """A list of anything."""
    if not isinstance(value, list):
        raise TypeError("a list expected")
    return value


def pair(value: object) -> tuple[int, int]:
    """Two whole numbers."""
    first, second = items(value)
    return whole(first), whole(second)
