"""What is simulated, as plain values: an array, its drives and links, and what is asked of it.

Nothing here or in the modules beside it knows the model's formulas. Only the
kernel's words for a level are shared with the product.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from arraygauge.inventory.values import Level

KIB = 1024
MIB = 1024 * KIB
ROW_BYTES = 4 * KIB
"""raid5 works in rows of one page a member (drivers/md/raid5.h, RAID5_STRIPE_SIZE)."""


class Way(StrEnum):
    """Which way bytes move: out of the drives, or into them."""

    READ = "read"
    WRITE = "write"


class Variation(StrEnum):
    """How far one operation's duration differs from the next; the mean is the same."""

    NONE = "none"
    UNIFORM = "half to one and a half times the mean"
    EXPONENTIAL = "exponential"


class Passage(StrEnum):
    """How an operation's bytes pass a shared link. Real links lie between the two."""

    THROUGH = "as the drive moves them; a full link slows the drives fairly"
    WHOLE = "each operation by itself, after (read) or before (write) its drive"


class Gathering(StrEnum):
    """When a partly written row of a parity level stops waiting for its neighbours."""

    NEVER_WAITS = "each transfer stands alone"
    WHILE_OTHERS_READ = "while earlier partial rows read what they lack, as raid5d does"
    WHILE_ANYTHING_MOVES = "while any drive of the array is busy"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """Bytes per second each way, one operation at a time; ``operation_seconds`` occupy the
    drive for each operation that does not continue the one before, ``latency_seconds``
    pass after each without occupying it."""

    read: float = 1e8
    write: float = 1e8
    operation_seconds: float = 0.0
    latency_seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link passed by the drives in ``slots``: bytes per second each way, both at once
    if ``full_duplex``."""

    slots: frozenset[int]
    read: float
    write: float
    full_duplex: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One array under one load. ``heads``: the drives pass over what they skip.

    ``streams`` 0 means random places; otherwise that many sequential streams share the
    ``depth`` transfers in flight. ``start_bytes`` is where the first stream begins.
    """

    level: Level
    drives: tuple[Drive, ...]
    way: Way
    transfer_bytes: int
    depth: int
    chunk_bytes: int = 64 * KIB
    layout: int = 0
    missing: frozenset[int] = frozenset()
    sizes: tuple[int, ...] = ()
    heads: bool = False
    links: tuple[Link, ...] = ()
    parity_rate: float | None = None
    streams: int = 1
    start_bytes: int = 0
    variation: Variation = Variation.NONE
    passage: Passage = Passage.THROUGH
    gathering: Gathering = Gathering.NEVER_WAITS
    cached_rows: int | None = 32768
    """Rows the stripe cache remembers after use: at most, as many as the kernel lets it have
    (Documentation/admin-guide/md.rst, stripe_cache_size); None remembers all."""
    seed: int = 1

    @property
    def width(self) -> int:
        return len(self.drives)

    @property
    def present(self) -> tuple[int, ...]:
        return tuple(slot for slot in range(self.width) if slot not in self.missing)
