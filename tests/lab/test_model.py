"""The model against the real md: drives of an exact rate, every expectation from theory alone.

A case's error is how far the measured rate lies outside the band, as a share of the
nearer edge; inside the band it is none. The lab's drives move reads and writes at their
rate at the same time (two throttles), so the model takes its members as full duplex.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from statistics import median, quantiles

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    ArrayModel,
    Direction,
    Expectation,
    Geometry,
    MemberRate,
    Network,
    Resource,
    ResourceKind,
    Source,
    expect,
)
from arraygauge.theory.expect import member_resource
from arraygauge.theory.geometry import PARITY_LEVELS
from lab.guest import Guest
from lab.machine import ArraySpec, Contents, Drive, Machine, Transport, Uplink
from lab.model_cases import CASES, ModelCase
from lab.whole import some_of

pytestmark = [pytest.mark.lab, pytest.mark.measures]

PLAIN_RATE, WRITE_RATE, STRIPE_CACHE_RATE = 20_000_000, 8_000_000, 4_000_000
"""Slower where md does more itself: an emulated processor must not set the pace. All parity
writes and degraded parity reads go through the stripe cache, 4 KiB at a time."""
UNCAPPED = 1_000_000_000
NAMES = ("alder", "birch", "cedar", "elder", "fir", "hazel")
TRANSPORTS = (Transport.VIRTIO, Transport.AHCI, Transport.NVME) * 2

MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=transport,
            bytes_per_second=PLAIN_RATE,
            size_bytes=512 * 2**20,
            uplink="chipset",
            contents=Contents.NULL,
        )
        for name, transport in zip(NAMES, TRANSPORTS, strict=True)
    ),
    uplinks=(Uplink(name="chipset", bytes_per_second=UNCAPPED),),
)


def rate_of(case: ModelCase) -> int:
    writing = case.workload.direction is Direction.WRITE
    if case.level in PARITY_LEVELS and (writing or case.lost):
        return STRIPE_CACHE_RATE
    return WRITE_RATE if writing else PLAIN_RATE


def predict(case: ModelCase) -> Expectation:
    rate = MemberRate(
        read_bytes_per_second=rate_of(case),
        write_bytes_per_second=rate_of(case),
        source=Source.DECLARED,
    )
    lost = frozenset(range(case.lost))
    members = tuple(
        None if slot in lost else replace(member_resource(str(slot), rate), full_duplex=True)
        for slot in range(case.width)
    )
    wall = Resource(
        name="chipset",
        kind=ResourceKind.LINK,
        read_bytes_per_second=3 * rate_of(case),
        write_bytes_per_second=3 * rate_of(case),
        full_duplex=True,
        source=Source.DECLARED,
        members=tuple(member.name for member in members if member),
    )
    geometry = Geometry(
        level=case.level,
        slots=case.width,
        chunk_bytes=case.chunk_bytes or None,
        layout=case.layout,
        missing=lost,
        seeks=False,
    )
    network = Network(members=members, shared=(wall,) if case.walled else ())
    expectation = expect(ArrayModel(geometry=geometry, network=network), case.workload)
    assert expectation is not None
    return expectation


def measure(guest: Guest, case: ModelCase) -> float:
    """Bytes per second of a freshly made array."""
    for name in NAMES:
        guest.limit(name, rate_of(case))
    guest.limit_uplink("chipset", 3 * rate_of(case) if case.walled else UNCAPPED)
    array = ArraySpec(
        name="md0",
        level=str(case.level),
        members=NAMES[: case.width],
        chunk_bytes=case.chunk_bytes,
        layout=case.layout if case.level is not Level.RAID4 else 0,
    )
    guest.create(array)
    try:
        for name in NAMES[: case.lost]:
            guest.fail("md0", name)
        asked = case.workload
        done = guest.run(
            [
                *(sys.executable, "-I", "-S", "tests/lab/direct_load.py", "/dev/md0"),
                *(str(asked.direction), str(asked.access), str(asked.transfer_bytes)),
                *(str(asked.queue_depth), str(asked.streams), "3"),
            ]
        )
        return float(done.checked().stdout)
    finally:
        guest.stop("md0")


def error_of(measured: float, expectation: Expectation) -> float:
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    if measured < floor:
        return (floor - measured) / floor
    return max(0.0, (measured - ceiling) / ceiling)


@pytest.mark.timeout(1200)
def test_the_model_predicts_the_kernel(
    boot_lab: Callable[[Machine], Guest], capsys: pytest.CaptureFixture[str]
) -> None:
    guest = boot_lab(MACHINE)
    lines, errors = [], []
    for case in some_of(CASES, 5):
        expectation = predict(case)
        measured = measure(guest, case)
        errors.append(error_of(measured, expectation))
        lines.append(
            f"| {case.name} | {expectation.floor_bytes_per_second / 1e6:.1f} | "
            f"{expectation.ceiling_bytes_per_second / 1e6:.1f} | {measured / 1e6:.1f} | "
            f"{errors[-1]:.1%} |"
        )
    last_twentieth = quantiles(errors, n=20, method="inclusive")[-1]
    with capsys.disabled():
        print("\n| array and workload | floor MB/s | ceiling MB/s | measured MB/s | error |")
        print("| --- | --- | --- | --- | --- |")
        print("\n".join(lines))
        print(f"median error {median(errors):.1%}, 95th percentile {last_twentieth:.1%}")
    assert len(CASES) >= 40
    assert median(errors) <= 0.03
    assert last_twentieth <= 0.08
