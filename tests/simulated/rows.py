"""A transfer on a parity level, cut into rows of one 4 KiB block a member.

Rows of a stripe are bits of an integer: row r of a chunk is bit r.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simulated.cases import ROW_BYTES
from simulated.drives import Extent
from simulated.striping import chunk_pieces


@dataclass(frozen=True, slots=True)
class Piece:
    """Rows of one data chunk: which stripe, which of its data chunks, which rows."""

    stripe: int
    position: int
    rows: int


def pieces_of(start: int, length: int, chunk: int, data: int) -> Iterator[Piece]:
    for at, size in chunk_pieces(start, length, chunk):
        stripe, position = divmod(at // chunk, data)
        yield Piece(stripe, position, rows_between(at % chunk, at % chunk + size))


def rows_between(begin: int, end: int) -> int:
    """The rows of bytes ``begin`` to ``end`` of a chunk."""
    return (1 << end // ROW_BYTES) - (1 << begin // ROW_BYTES)


def patterns(written: dict[int, int], rows: int) -> dict[int, int]:
    """Rows by which data chunks of them are written: the set of positions, as bits, to rows.

    ``written``: rows by position. Rows of ``rows`` that nothing writes are left out.
    """
    found = {0: rows}
    for position, mask in written.items():
        split: dict[int, int] = {}
        for pattern, held in found.items():
            if held & mask:
                split[pattern | 1 << position] = held & mask
            if held & ~mask:
                split[pattern] = split.get(pattern, 0) | held & ~mask
        found = split
    found.pop(0, None)
    return found


def extents_of(stripe: int, rows: int, chunk: int) -> tuple[Extent, ...]:
    """Where these rows of a stripe lie on any member."""
    found = []
    base = stripe * chunk
    while rows:
        first = (rows & -rows).bit_length() - 1
        run = ((rows >> first) + 1 & ~(rows >> first)).bit_length() - 1
        found.append((base + first * ROW_BYTES, run * ROW_BYTES))
        rows &= rows + (1 << first)
    return tuple(found)


def bytes_of(rows: int) -> int:
    return rows.bit_count() * ROW_BYTES
