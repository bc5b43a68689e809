"""How long a plan takes a core: `python -m bench.plan_speed` from tests/."""

from __future__ import annotations

import time
from collections.abc import Iterator
from statistics import median

from arraygauge.theory import (
    Direction,
    MemberRate,
    Resource,
    ResourceKind,
    Source,
    Workload,
    copies,
    cut,
    geometry,
    parity,
    parity_writes,
    rows_in_part,
    stripes,
)
from arraygauge.theory.plan import Asked, PlannedDrive, Scope, Supply, make_plan

ASKED = Asked(
    read=Workload(direction=Direction.READ, queue_depth=16),
    write=Workload(direction=Direction.WRITE, queue_depth=16),
)
MODULES = (copies, cut, geometry, parity, parity_writes, rows_in_part, stripes)


def supply(count: int, *, disk: bool) -> Supply:
    """Invented drives behind one uplink."""
    rate = MemberRate(
        read_bytes_per_second=250e6 if disk else 3e9,
        write_bytes_per_second=240e6 if disk else 2.5e9,
        source=Source.RATED,
        operation_seconds=12e-3 if disk else 0.0,
        latency_seconds=0.0 if disk else 1e-4,
    )
    names = tuple(f"d{number}" for number in range(1, count + 1))
    uplink = Resource(
        name="uplink",
        kind=ResourceKind.LINK,
        read_bytes_per_second=3.938e9 if disk else 12e9,
        write_bytes_per_second=3.938e9 if disk else 12e9,
        full_duplex=True,
        source=Source.DECLARED,
        members=names,
    )
    drives = tuple(
        PlannedDrive(
            name=name,
            size_bytes=16 * 10**12,
            rate=rate,
            write_source=Source.RATED,
            rotational=disk,
        )
        for name in names
    )
    return Supply(drives=drives, links=(uplink,), parity_bytes_per_second=20e9)


def seconds_of(held: Supply, scope: Scope, rounds: int) -> Iterator[float]:
    """Of the processor, for each round, which begins with nothing in the model's caches."""
    for _ in range(rounds):
        _forget()
        began = time.process_time()
        make_plan(held, ASKED, scope)
        yield time.process_time() - began


def _forget() -> None:
    for module in MODULES:
        for function in vars(module).values():
            if hasattr(function, "cache_clear"):
                function.cache_clear()


if __name__ == "__main__":
    for words, disk, scope in (
        ("all 24 of 24 drives without heads", False, Scope(widths=(24,))),
        ("all 24 of 24 disks", True, Scope(widths=(24,))),
        ("2 to 24 of 24 drives without heads", False, Scope()),
        ("2 to 24 of 24 disks", True, Scope()),
    ):
        held = supply(24, disk=disk)
        options = len(make_plan(held, ASKED, scope).options)
        taken = list(seconds_of(held, scope, rounds=8))
        print(
            f"{words}: {options} options, median {median(taken):.2f} s, "
            f"quickest {min(taken):.2f} s of one core"
        )
