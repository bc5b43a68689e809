"""Where transfers go: buffers to read into and offsets to read, made before the clock runs."""

from __future__ import annotations

import mmap
from array import array
from collections.abc import Iterator
from itertools import islice


def aligned_buffers(count: int, size: int) -> list[memoryview]:
    """Page-aligned, as direct I/O wants them, and already backed by memory."""
    stride = -(-size // mmap.PAGESIZE) * mmap.PAGESIZE
    flags = mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS | mmap.MAP_POPULATE
    whole = memoryview(mmap.mmap(-1, count * stride, flags=flags))
    return [whole[at : at + size] for at in range(0, len(whole), stride)]


def in_order(start: int, length: int, size: int, streams: int) -> list[Iterator[int]]:
    """Offsets of whole transfers: equal parts of the extent, the last a little longer.

    Each iterator runs in C from item to item, so threads may take from it without a lock.
    """
    part = length // streams // size * size
    begins = [start + index * part for index in range(streams)]
    ends = [*begins[1:], start + length // size * size]
    return [iter(range(begin, end, size)) for begin, end in zip(begins, ends, strict=True)]


def at_random(start: int, length: int, size: int, seed: int, most: int) -> list[Iterator[int]]:
    """One such iterator over at most so many places of the extent, none of them twice."""
    return [iter(array("q", islice(scattered(start, length // size, size, seed), most)))]


def scattered(start: int, count: int, size: int, seed: int) -> Iterator[int]:
    """Each of ``count`` places once, in an order that the seed decides.

    A list of every 4 KiB place of a large drive would not fit in memory, so the
    order is computed: adding, multiplying by an odd number and folding high bits
    onto low ones are each one-to-one on ``bits`` bits, hence so is their chain.
    Results past the end are skipped. Of the factors only oddness is relied on.
    """
    bits = max((count - 1).bit_length(), 1)
    mask, fold = (1 << bits) - 1, bits // 2 + 1
    for index in range(1 << bits):
        place = index + seed
        for factor in (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB):
            place = place * factor & mask
            place ^= place >> fold
        if place < count:
            yield start + place * size
