"""How many expectations a core gives each second: `python -m bench.model_speed` from tests/."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import product
from statistics import median

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    Access,
    ArrayModel,
    Direction,
    Geometry,
    MemberRate,
    Network,
    Resource,
    ResourceKind,
    Source,
    Workload,
    depth_curve,
    expect,
)
from arraygauge.theory.expect import member_resource

LEVELS = (Level.RAID0, Level.RAID1, Level.RAID10, Level.RAID5, Level.RAID6)
TRANSFERS = tuple(4096 << step for step in range(0, 11, 2))
"""4 KiB to 4 MiB."""


def model(level: Level, slots: int) -> ArrayModel:
    names = tuple(str(slot) for slot in range(slots))
    rate = MemberRate(
        read_bytes_per_second=530e6,
        write_bytes_per_second=520e6,
        source=Source.RATED,
        latency_seconds=1e-4,
    )
    uplink = Resource(
        name="uplink",
        kind=ResourceKind.LINK,
        read_bytes_per_second=1.64e9,
        write_bytes_per_second=1.2e9,
        full_duplex=True,
        source=Source.DECLARED,
        members=names,
    )
    members = tuple(member_resource(name, rate) for name in names)
    return ArrayModel(
        geometry=Geometry(level=level, slots=slots, chunk_bytes=64 * 1024),
        network=Network(members=members, shared=(uplink,)),
    )


CASES = [
    (model(level, slots), Workload(direction=direction, access=access, queue_depth=32))
    for level, slots, direction, access in product(LEVELS, (4, 6, 8), Direction, Access)
]


PLAIN = [case for case in CASES if not case[1].scattered]


def bounds_only() -> int:
    for array, workload in PLAIN:
        expect(array, workload)
    return len(PLAIN)


def whole_curve() -> int:
    """Every depth to 32, and six transfer sizes at the asked depth, for each case."""
    for array, workload in CASES:
        depth_curve(array, workload, 32)
        for size in TRANSFERS:
            expect(
                array,
                Workload(
                    direction=workload.direction,
                    access=Access.SEQUENTIAL,
                    transfer_bytes=size,
                    queue_depth=32,
                ),
            )
    return len(CASES)


def rates(work: Callable[[], int], rounds: int) -> list[float]:
    """What each round did a second of one core."""
    found = []
    for _ in range(rounds):
        began = time.process_time()
        done = work()
        found.append(done / (time.process_time() - began))
    return found


def told(what: str, found: list[float]) -> str:
    return f"{what}: median {median(found):.0f}, quickest {max(found):.0f} a second of one core"


if __name__ == "__main__":
    print(told("expectations", rates(bounds_only, rounds=60)))
    print(told("with the whole curve", rates(whole_curve, rounds=20)))
