"""The arrays on which the model is held against the kernel: at least one of each kind."""

from __future__ import annotations

from dataclasses import dataclass

from arraygauge.inventory.values import Level
from arraygauge.theory import Access, Direction, Workload
from arraygauge.units import KIB, MIB

NEAR2, NEAR3, FAR2, OFFSET2 = 258, 259, 513, 66049
LEFT_ASYMMETRIC, LEFT_SYMMETRIC, PARITY_FIRST = 0, 2, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelCase:
    """One array, its health and what is asked of it. ``walled``: behind the shared uplink."""

    level: Level
    width: int
    workload: Workload
    chunk_bytes: int = 64 * KIB
    layout: int | None = None
    lost: int = 0
    walled: bool = False

    @property
    def name(self) -> str:
        words = [f"{self.level} x {self.width}"]
        words += [f"layout {self.layout}"] if self.layout not in (None, NEAR2, 2) else []
        words += (
            [f"chunk {self.chunk_bytes // KIB}K"] if self.chunk_bytes not in (0, 64 * KIB) else []
        )
        words += [f"{self.lost} lost"] if self.lost else []
        words += ["uplink"] if self.walled else []
        asked = self.workload
        words.append(f"{asked.access} {asked.direction} {asked.transfer_bytes // KIB}K")
        words += [f"{asked.streams} streams"] if asked.streams > 1 else []
        words += [f"depth {asked.queue_depth}"] if asked.queue_depth < 16 else []
        return ", ".join(words)


READ = Workload(direction=Direction.READ, transfer_bytes=MIB, queue_depth=16)
SMALLER_READ = Workload(direction=Direction.READ, transfer_bytes=256 * KIB, queue_depth=16)
"""For slow arrays: what is in flight must be gone through in a fraction of a second."""
WRITE = Workload(direction=Direction.WRITE, transfer_bytes=256 * KIB, queue_depth=16)


def _random(direction: Direction, transfer_kib: int) -> Workload:
    return Workload(
        direction=direction,
        access=Access.RANDOM,
        transfer_bytes=transfer_kib * KIB,
        queue_depth=32,
    )


def case(level: Level, width: int, workload: Workload = READ, **shape: object) -> ModelCase:
    return ModelCase(level=level, width=width, workload=workload, **shape)  # type: ignore[arg-type]


RANDOM_READ = _random(Direction.READ, 64)
ONE_AT_A_TIME = Workload(direction=Direction.READ, transfer_bytes=MIB, queue_depth=1)
TWO_STREAMS = Workload(
    direction=Direction.READ, transfer_bytes=256 * KIB, queue_depth=16, streams=2
)
FEWER_WRITES = Workload(direction=Direction.WRITE, transfer_bytes=256 * KIB, queue_depth=4)

CASES = (
    # Reads, healthy.
    *(case(Level.RAID0, width) for width in (2, 3, 4, 5, 6)),
    *(case(Level.RAID0, 4, chunk_bytes=size * KIB) for size in (16, 256, 512)),
    case(Level.RAID0, 4, RANDOM_READ),
    case(Level.LINEAR, 3, chunk_bytes=0),
    case(Level.LINEAR, 3, RANDOM_READ, chunk_bytes=0),
    case(Level.RAID1, 2, ONE_AT_A_TIME, chunk_bytes=0),
    case(Level.RAID1, 2, TWO_STREAMS, chunk_bytes=0),
    case(Level.RAID1, 3, RANDOM_READ, chunk_bytes=0),
    *(case(Level.RAID10, width, layout=NEAR2) for width in (3, 4, 5, 6)),
    case(Level.RAID10, 6, layout=NEAR3),
    case(Level.RAID10, 4, layout=FAR2),
    case(Level.RAID10, 4, layout=OFFSET2),
    case(Level.RAID4, 4),
    *(case(Level.RAID5, width, layout=LEFT_SYMMETRIC) for width in (3, 4, 5, 6)),
    case(Level.RAID5, 4, layout=LEFT_ASYMMETRIC),
    case(Level.RAID5, 4, layout=PARITY_FIRST),
    case(Level.RAID5, 4, layout=LEFT_SYMMETRIC, chunk_bytes=512 * KIB),
    case(Level.RAID5, 4, RANDOM_READ, layout=LEFT_SYMMETRIC),
    *(case(Level.RAID6, width, layout=LEFT_SYMMETRIC) for width in (4, 5, 6)),
    # Reads, degraded.
    case(Level.RAID1, 2, TWO_STREAMS, chunk_bytes=0, lost=1),
    case(Level.RAID10, 4, layout=NEAR2, lost=1),
    case(Level.RAID10, 4, layout=FAR2, lost=1),
    case(Level.RAID4, 4, SMALLER_READ, lost=1),
    case(Level.RAID5, 4, SMALLER_READ, layout=LEFT_SYMMETRIC, lost=1),
    case(Level.RAID5, 5, SMALLER_READ, layout=LEFT_SYMMETRIC, lost=1),
    case(Level.RAID6, 5, SMALLER_READ, layout=LEFT_SYMMETRIC, lost=1),
    case(Level.RAID6, 5, SMALLER_READ, layout=LEFT_SYMMETRIC, lost=2),
    # Reads and writes behind an uplink of three drives.
    case(Level.RAID0, 4, walled=True),
    case(Level.RAID5, 5, layout=LEFT_SYMMETRIC, walled=True),
    case(Level.RAID10, 4, layout=NEAR2, walled=True),
    case(Level.RAID0, 4, WRITE, walled=True),
    case(Level.RAID10, 4, WRITE, layout=NEAR2, walled=True),
    case(Level.RAID5, 5, WRITE, layout=LEFT_SYMMETRIC, walled=True),
    # Writes.
    case(Level.RAID0, 2, WRITE),
    case(Level.RAID0, 4, WRITE),
    case(Level.RAID1, 2, FEWER_WRITES, chunk_bytes=0),
    case(Level.RAID10, 3, WRITE, layout=NEAR2),
    case(Level.RAID10, 4, WRITE, layout=NEAR2),
    case(Level.RAID10, 4, WRITE, layout=FAR2),
    case(Level.RAID4, 5, WRITE),
    case(Level.RAID5, 3, WRITE, layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 4, WRITE, layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 5, WRITE, layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 5, WRITE, layout=LEFT_SYMMETRIC, lost=1),
    case(Level.RAID6, 4, WRITE, layout=LEFT_SYMMETRIC),
    case(Level.RAID6, 6, WRITE, layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 4, _random(Direction.WRITE, 64), layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 6, _random(Direction.WRITE, 64), layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 6, _random(Direction.WRITE, 128), layout=LEFT_SYMMETRIC),
    case(Level.RAID5, 6, _random(Direction.WRITE, 16), layout=LEFT_SYMMETRIC),
    case(Level.RAID6, 6, _random(Direction.WRITE, 64), layout=LEFT_SYMMETRIC),
)
