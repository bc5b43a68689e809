"""`arraygauge trial` against `arraygauge plan`: many arrays behind a wall of three drives.

The plan stands on the drives' nominal rates, the trial on the kernel's md. The lab's drives read
and write at their rate at the same time, as no real drive does; that touches only writes of rows
in part, whose band reaches from there to whole rows.

ARRAYGAUGE_LAB_WHOLE=1 tries all options of five drives, else two of four.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    Direction,
    MemberRate,
    Resource,
    ResourceKind,
    Source,
    Workload,
)
from arraygauge.theory.plan import (
    Asked,
    Option,
    PlannedDrive,
    Prediction,
    Scope,
    Supply,
    make_plan,
    recommended_option,
)
from lab.guest import Guest
from lab.machine import KIB, MIB, ArraySpec, Contents, Drive, Machine, Transport, Uplink
from lab.model_cases import LEFT_SYMMETRIC
from lab.trial_bench import CONFIG, arrays, forget, held
from lab.whole import WHOLE

pytestmark = [pytest.mark.lab, pytest.mark.measures]

RATE = 5_000_000
"""An emulated processor must not set the pace of parity."""
WALL = 3 * RATE
NAMES = ("alder", "birch", "cedar", "elder", "fir")[: 5 if WHOLE else 4]
MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=Transport.NVME,  # which says that it has no heads, as virtio does not
            bytes_per_second=RATE,
            size_bytes=128 * MIB,
            uplink="wall",
            contents=Contents.BLANK,
        )
        for name in NAMES
    ),
    uplinks=(Uplink(name="wall", bytes_per_second=WALL),),
)
LEVELS = (Level.RAID0, Level.RAID5, *((Level.RAID10, Level.RAID6) if WHOLE else ()))
CHUNKS = (32, 64, 128, 256, 512, 1024) if WHOLE else (64,)
WIDTHS = (2, 3, 4, 5) if WHOLE else (4,)
TRANSFER, DEPTH = 256 * KIB, 16
SECONDS, PLACES = ("1.6", "2") if WHOLE else ("1", "2")
ASKED = Asked(
    read=Workload(direction=Direction.READ, transfer_bytes=TRANSFER, queue_depth=DEPTH),
    write=Workload(direction=Direction.WRITE, transfer_bytes=TRANSFER, queue_depth=DEPTH),
)
SCOPE = Scope(levels=LEVELS, chunks=tuple(chunk * KIB for chunk in CHUNKS), widths=WIDTHS)


def supply(names: tuple[str, ...]) -> Supply:
    """The machine as it is described, under the guest's names for its drives."""
    rate = MemberRate(
        read_bytes_per_second=RATE, write_bytes_per_second=RATE, source=Source.DECLARED
    )
    wall = Resource(
        name="wall",
        kind=ResourceKind.LINK,
        read_bytes_per_second=WALL,
        write_bytes_per_second=WALL,
        full_duplex=True,
        source=Source.DECLARED,
        members=names,
    )
    return Supply(
        drives=tuple(
            PlannedDrive(
                name=name,
                size_bytes=126 * MIB,
                rate=rate,
                write_source=Source.DECLARED,
                rotational=False,
            )
            for name in names
        ),
        links=(wall,),
    )


def outside(rate: float, floor: float, ceiling: float) -> float:
    """As a share of the nearer edge; nought inside the band."""
    return max(0.0, 1 - rate / floor, rate / ceiling - 1)


def line(found: dict[str, Any], predicted: Prediction) -> str:
    def cells(rate: float, floor: float, ceiling: float) -> str:
        off = outside(rate, floor, ceiling)
        return f"{rate / 1e6:.1f} | {floor / 1e6:.1f} to {ceiling / 1e6:.1f} | {off:.1%}"

    read, write = predicted.read, predicted.write
    return (
        f"| {found['name']} × {len(found['members'])} | {found['chunk_bytes'] // KIB} | "
        + cells(
            found["read"]["bytes_per_second"],
            read.floor_bytes_per_second,
            read.ceiling_bytes_per_second,
        )
        + " | "
        + cells(
            found["write"]["bytes_per_second"],
            write.floor_bytes_per_second,
            write.ceiling_bytes_per_second,
        )
        + " |"
    )


def option_of(found: dict[str, Any]) -> Option:
    return Option(
        level=Level(found["level"]),
        members=tuple(found["members"]),
        chunk_bytes=found["chunk_bytes"],
        layout=found["layout"],
    )


@pytest.mark.timeout(1800)
def test_what_is_measured_is_what_was_planned(
    boot_lab: Callable[[Machine], Guest], capsys: pytest.CaptureFixture[str]
) -> None:
    guest = boot_lab(MACHINE)
    forget(guest)
    names = declared(guest)
    done = held(guest, *arguments(), seconds=1500)
    assert done.status == 0, done.stderr
    assert arrays(guest) == []
    with capsys.disabled():
        check(json.loads(done.stdout), names)
    assert_remembered(guest)


def assert_remembered(guest: Guest) -> None:
    """An array that is then built of the same drives has the trial's figures as its past."""
    members = tuple(reversed(NAMES))
    built = ArraySpec(
        name="md0", level="raid5", members=members, chunk_bytes=64 * KIB, layout=LEFT_SYMMETRIC
    )
    guest.create(built)
    try:
        past = guest.run_module("arraygauge", "history", "md0", timeout_seconds=120)
    finally:
        guest.stop("md0")
    assert "before it was built: read" in " ".join(past.stdout.split()), past.stderr


def declared(guest: Guest) -> tuple[str, ...]:
    """The drives' names in the guest; the agent is told of the wall."""
    names = tuple(guest.device(name) for name in NAMES)
    uplink = f'[[uplink]]\nname = "wall"\ndevices = {json.dumps(names)}\n'
    guest.write(CONFIG, uplink + f"read_mb_per_second = {WALL / 1e6}\n")
    return names


def arguments() -> tuple[str, ...]:
    """Of the command."""
    chosen = [word for level in LEVELS for word in ("--level", str(level))]
    chosen += [word for width in WIDTHS for word in ("--members", str(width))]
    chosen += [word for chunk in CHUNKS for word in ("--chunk", f"{chunk} KiB")]
    return (
        *("--json", "--seconds", SECONDS, "--places", PLACES),
        *("--transfer", str(TRANSFER), "--depth", str(DEPTH), *chosen),
        *(f"serial-QEMU_NVMe_Ctrl_{name}" for name in NAMES),
    )


def check(document: dict[str, Any], names: tuple[str, ...]) -> None:
    """Beside the plan, option by option."""
    plan = make_plan(supply(names), ASKED, SCOPE)
    planned = {each.option: each.prediction for each in plan.options}
    found = {option_of(each): each for each in document["options"]}
    assert found.keys() == planned.keys()
    print("\n| array | chunk KiB | read MB/s | planned | off | write | planned | off |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    print("\n".join(line(each, planned[option]) for option, each in found.items()))
    print(f"recommended: {json.dumps(document['recommended'])}")
    worst = {way: _worst(way, found, planned) for way in ("read", "write")}
    # Many bands are a point, which no measurement hits: writes have the reads' tolerance.
    assert max(worst.values()) <= 0.05, worst
    best = recommended_option(plan.options)
    assert best is not None
    assert document["recommended"]["by_model"]["level"] == str(best.option.level)
    assert document["recommended"]["agree"]
    assert len(found) >= (60 if WHOLE else 2)


def _worst(way: str, found: dict[Option, Any], planned: dict[Option, Prediction]) -> float:
    missed = [
        outside(
            each[way]["bytes_per_second"],
            getattr(planned[option], way).floor_bytes_per_second,
            getattr(planned[option], way).ceiling_bytes_per_second,
        )
        for option, each in found.items()
    ]
    inside = sum(not off for off in missed)
    within = sum(off <= 0.05 for off in missed)
    print(f"{way}: {inside} of {len(missed)} inside, {within} within 5 %, worst {max(missed):.1%}")
    return max(missed)
