"""The levels the model knows: one entry a level and direction.

How the kernel moves data: drivers/md/raid0.c, raid1.c, raid10.c, raid5.c and
Documentation/admin-guide/md.rst; the reasons stand beside each case.
"""

from __future__ import annotations

from collections.abc import Callable

from arraygauge.inventory.values import Level
from arraygauge.theory.copies import copies_write, raid1_read, raid10_read
from arraygauge.theory.loads import Case, LevelLoads, Loads, MemberLoad
from arraygauge.theory.parity import parity_read
from arraygauge.theory.parity_writes import parity_write
from arraygauge.theory.striped import linear_read, raid0_read
from arraygauge.theory.values import Direction

LevelModel = Callable[[Case], LevelLoads]


def level_loads(case: Case) -> LevelLoads:
    """The loads of any level; KeyError for a level the model does not know."""
    models = _READS if case.workload.direction is Direction.READ else _WRITES
    return models[case.geometry.level](case)


def _writes_as_reads(read: LevelModel) -> LevelModel:
    """Levels without redundancy write exactly what they would read."""

    def turned(loads: Loads) -> Loads:
        return Loads(tuple(MemberLoad(write=load.read) for load in loads.members))

    def write(case: Case) -> LevelLoads:
        loads = read(case)
        ceiling = turned(loads.ceiling)
        return LevelLoads(
            floor=ceiling if loads.floor is loads.ceiling else turned(loads.floor),
            ceiling=ceiling,
            assumptions=loads.assumptions,
        )

    return write


_READS: dict[Level, LevelModel] = {
    Level.LINEAR: linear_read,
    Level.RAID0: raid0_read,
    Level.RAID1: raid1_read,
    Level.RAID10: raid10_read,
    Level.RAID4: parity_read,
    Level.RAID5: parity_read,
    Level.RAID6: parity_read,
}
_WRITES: dict[Level, LevelModel] = {
    Level.LINEAR: _writes_as_reads(linear_read),
    Level.RAID0: _writes_as_reads(raid0_read),
    Level.RAID1: copies_write,
    Level.RAID10: copies_write,
    Level.RAID4: parity_write,
    Level.RAID5: parity_write,
    Level.RAID6: parity_write,
}
