"""How fast this processor does parity arithmetic, by a short benchmark of its own.

Exclusive-or over blocks that fit its caches, by the interpreter's own long integers:
a plain loop that the compiler vectorises. The kernel picks better instructions, so this
is a cautious figure for single parity; it opens and writes nothing.
"""

from __future__ import annotations

import os
import time

BLOCK_BYTES = 64 * 1024
"""Small enough to stay in the caches, as md's 4 KiB blocks do."""
ROUNDS = 5
BLOCKS_A_ROUND = 400


def measure_parity_speed() -> float:
    """Bytes of data run through exclusive-or each second, the best of a few short rounds.

    About 10 ms. The best round counts: everything that disturbs makes it slower.
    """
    first, second = (int.from_bytes(os.urandom(BLOCK_BYTES), "little") for _ in range(2))
    return max(_round(first, second) for _ in range(ROUNDS))


def _round(first: int, second: int) -> float:
    began = time.perf_counter()
    for _ in range(BLOCKS_A_ROUND):
        first ^ second
    return BLOCKS_A_ROUND * BLOCK_BYTES / (time.perf_counter() - began)
