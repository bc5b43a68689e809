"""What one write costs a parity array: whole rows, and the parts of rows at its ends.

md works in rows of one 4 KiB block a member. A row whose data is all written needs
no reading. Otherwise md counts two ways and takes the one that reads less, the
second on a tie (raid5.c handle_stripe_dirtying):

* read-modify-write reads the old data of the k blocks written and the old parity: k + p;
* reconstruct-write reads the other data of the row: d - k.

Both then write k + p blocks. Here d is the number of data members, p of parity.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import gcd


@dataclass(frozen=True, slots=True)
class WriteCost:
    """Bytes moved by all members together; data and parity members apart."""

    written: float = 0.0
    """User data."""
    data_reads: float = 0.0
    parity_reads: float = 0.0
    parity_writes: float = 0.0
    whole: float = 0.0
    """User data that filled whole rows."""

    def __add__(self, other: WriteCost) -> WriteCost:
        return WriteCost(
            self.written + other.written,
            self.data_reads + other.data_reads,
            self.parity_reads + other.parity_reads,
            self.parity_writes + other.parity_writes,
            self.whole + other.whole,
        )


@lru_cache(maxsize=4096)
def mean_write_cost(
    transfer_bytes: int, offset_bytes: int, chunk_bytes: int, data_members: int, parity: int
) -> WriteCost:
    """The cost of one transfer, the mean over every place a transfer of a stream begins at.

    Transfers begin at multiples of their size plus ``offset_bytes``; the pattern
    against the rows repeats after stripe / gcd(transfer, stripe) of them.
    """
    stripe = chunk_bytes * data_members
    period = stripe // gcd(transfer_bytes, stripe)
    total = WriteCost()
    for index in range(period):
        start = (offset_bytes + index * transfer_bytes) % stripe
        total += write_cost(start, transfer_bytes, chunk_bytes, data_members, parity)
    return WriteCost(
        *(
            value / period
            for value in (
                total.written,
                total.data_reads,
                total.parity_reads,
                total.parity_writes,
                total.whole,
            )
        )
    )


def write_cost(
    start: int, length: int, chunk_bytes: int, data_members: int, parity: int
) -> WriteCost:
    """The cost of writing ``length`` bytes from ``start`` bytes into a stripe, by itself."""
    stripe = chunk_bytes * data_members
    head = min(length, -start % stripe) if start % stripe else 0
    whole = (length - head) // stripe * stripe
    tail = length - head - whole
    full = WriteCost(whole, 0.0, 0.0, whole / data_members * parity, whole)
    cost = full
    if head:
        cost += _part(start % stripe, start % stripe + head, chunk_bytes, data_members, parity)
    if tail:
        cost += _part(0, tail, chunk_bytes, data_members, parity)
    return cost


def _part(start: int, end: int, chunk_bytes: int, data_members: int, parity: int) -> WriteCost:
    """Bytes ``start`` to ``end`` of one stripe: the rows with k blocks written, for each k."""
    first, last = start // chunk_bytes, (end - 1) // chunk_bytes
    begin, stop = start - first * chunk_bytes, end - last * chunk_bytes
    between = last - first - 1
    if first == last:
        return _rows(stop - begin, 1, data_members, parity)
    low, high = min(begin, stop), max(begin, stop)
    middle = between + 2 if begin < stop else between
    cost = _rows(chunk_bytes - (high - low), between + 1, data_members, parity)
    return cost + _rows(high - low, middle, data_members, parity)


def _rows(height_bytes: int, blocks: int, data_members: int, parity: int) -> WriteCost:
    """Rows ``height_bytes`` high in all, with ``blocks`` of their data written."""
    if not height_bytes or not blocks:
        return WriteCost()
    written = height_bytes * blocks
    if blocks == data_members:
        return WriteCost(written, 0.0, 0.0, height_bytes * parity, written)
    modify, reconstruct = blocks + parity, data_members - blocks
    if modify < reconstruct:
        return WriteCost(
            written, height_bytes * blocks, height_bytes * parity, height_bytes * parity
        )
    return WriteCost(written, height_bytes * reconstruct, 0.0, height_bytes * parity)
