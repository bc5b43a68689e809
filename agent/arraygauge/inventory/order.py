"""Device names in the order people count: sda, sdb … sdz, sdaa; md2 before md10."""

from __future__ import annotations

import re

_LETTERED = re.compile(r"(sd|vd|xvd)([a-z]+)(.*)")
_PIECE = re.compile(r"\d+|\D+")

Piece = tuple[str, int, str]


def natural_key(name: str) -> tuple[Piece, ...]:
    """A sort key: numbers by value, drive letters by length first."""
    if match := _LETTERED.fullmatch(name):
        head, letters, tail = match.groups()
        return (head, 0, ""), ("", len(letters), letters), *_pieces(tail)
    return _pieces(name)


def _pieces(text: str) -> tuple[Piece, ...]:
    return tuple(
        ("", int(piece), "") if piece.isdecimal() else (piece, 0, "")
        for piece in _PIECE.findall(text)
    )
