"""Where on a device to read: pure planning.

A hard disk is about twice as fast at its rim as at its hub, so every device is
read at the same fractions of its size, and position stays part of the record.
"""

from __future__ import annotations

from math import lcm

from arraygauge.probe.values import Extent

FIRST, LAST = 0.1, 0.9
"""Fractions of the device where the first and the last place begin."""
LEAST_TRANSFERS = 64
"""A place with room for fewer is too short to time, so a small device is one place."""


def spread_extents(
    size_bytes: int, transfer_bytes: int, count: int = 3, stripe_bytes: int = 1
) -> tuple[Extent, ...]:
    """``count`` places evenly between the fractions 0.1 and 0.9, each up to the next.

    A single place begins in the middle. Starts are multiples of the transfer size,
    and of ``stripe_bytes`` where an array wants that; lengths are multiples of the
    transfer size; nothing passes the end. A device too small for that is read as
    one place from its beginning; one smaller than a transfer has no place.
    """
    step = lcm(transfer_bytes, stripe_bytes)
    starts = [int(size_bytes * part) // step * step for part in _fractions(count)]
    ends = [*starts[1:], size_bytes]
    lengths = [
        (end - start) // transfer_bytes * transfer_bytes
        for start, end in zip(starts, ends, strict=True)
    ]
    if min(lengths) < LEAST_TRANSFERS * transfer_bytes:
        starts, lengths = [0], [size_bytes // transfer_bytes * transfer_bytes]
    return tuple(
        Extent(start_bytes=start, length_bytes=length)
        for start, length in zip(starts, lengths, strict=True)
        if length
    )


def _fractions(count: int) -> list[float]:
    if count < 1:
        raise ValueError("at least one place must be read")
    if count == 1:
        return [(FIRST + LAST) / 2]
    return [FIRST + (LAST - FIRST) * index / (count - 1) for index in range(count)]
