"""Where on a device to read: pure planning.

Every round cuts the whole device into equal strata and reads one place in each, at
random within it: a drive's cache cannot learn the places, the whole device is met, and
position stays part of the record (a hard disk is about twice as fast at its rim as at
its hub). Where the places disagree there are more rounds, and each is spread evenly again:
to read more in the strata that disagree would draw the median toward them.
"""

from __future__ import annotations

from itertools import pairwise
from math import lcm
from random import Random

from arraygauge.probe.values import Extent

LEAST_TRANSFERS = 16
"""A place with room for fewer is too short to time, so a small device has fewer places."""


def spread_extents(
    size_bytes: int,
    transfer_bytes: int,
    count: int,
    chance: Random,
    stripe_bytes: int = 1,
) -> tuple[Extent, ...]:
    """One place in each of ``count`` equal strata of something of ``size_bytes``.

    Starts are multiples of the transfer size, and of ``stripe_bytes`` where an array wants
    that; each place may be read up to the end of its stratum or to the next start, and
    holds at least ``LEAST_TRANSFERS``; nothing passes the end. A device too small for
    ``count`` such places has fewer; one smaller than a transfer has none.
    """
    if count < 1:
        raise ValueError("at least one place must be read")
    step = lcm(transfer_bytes, stripe_bytes)
    least = LEAST_TRANSFERS * transfer_bytes
    count = max(min(count, size_bytes // (least + max(least, step))), 1)
    edges = [size_bytes * index // count for index in range(count + 1)]
    extents = [_place_in(low, high, transfer_bytes, step, chance) for low, high in pairwise(edges)]
    return tuple(extent for extent in extents if extent.length_bytes)


def _place_in(low: int, high: int, transfer: int, step: int, chance: Random) -> Extent:
    """Begins at random where an eighth of the stratum, or what it needs, still follows."""
    first = -(-low // step)
    last = (high - max(LEAST_TRANSFERS * transfer, (high - low) // 8)) // step
    start = chance.randint(first, max(first, last)) * step
    return Extent(start_bytes=start, length_bytes=(high - start) // transfer * transfer)
