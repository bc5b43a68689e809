"""What each option of a plan would give, and where another drive buys nothing."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import Direction, Workload
from arraygauge.theory.plan import (
    Asked,
    Option,
    Plan,
    PlannedOption,
    Scope,
    Supply,
    make_plan,
    predict,
)
from arraygauge.theory.plan_values import NEAR_2
from arraygauge.units import KIB
from unit.theory.planned_drives import (
    DRIVE,
    TERABYTE,
    behind_one,
    drive,
    drives,
    free,
)

DEEP = Asked(
    read=Workload(direction=Direction.READ, queue_depth=64),
    write=Workload(direction=Direction.WRITE, queue_depth=64),
)


def option(
    level: Level, count: int, chunk: int | None = 64 * KIB, layout: int | None = None
) -> Option:
    names = tuple(f"d{number}" for number in range(1, count + 1))
    return Option(level=level, members=names, chunk_bytes=chunk, layout=layout)


def planned(plan: Plan, level: Level, width: int, chunk: int) -> PlannedOption:
    [found] = [
        each
        for each in plan.options
        if (each.option.level, each.option.width, each.option.chunk_bytes) == (level, width, chunk)
    ]
    return found


# What each would give: published values.


@pytest.mark.parametrize(
    ("level", "layout", "read", "write"),
    [
        (Level.RAID0, None, 8, 8),
        (Level.RAID10, NEAR_2, 8, 4),  # reads: N, as Chen et al. count; N/2 there is the floor
        (Level.RAID5, None, 7, 7),
    ],
)
def test_long_transfers_as_published(
    level: Level, layout: int | None, read: float, write: float
) -> None:
    """Of N = 8 disks of S each: raid0 N S, raid5 (N - 1) S, mirrors write N/2 S
    (Arpaci-Dusseau, Operating Systems: Three Easy Pieces, chapter 38, sequential; Chen et al.
    1994, table 3, large reads of mirrors)."""
    found = predict(free(8, disk=True), option(level, 8, layout=layout), DEEP)
    assert found.read.ceiling_bytes_per_second == pytest.approx(read * DRIVE, rel=0.01)
    assert found.write.ceiling_bytes_per_second == pytest.approx(write * DRIVE, rel=0.01)


@pytest.mark.parametrize(
    ("level", "layout", "share"),
    [
        (Level.RAID0, None, 1),
        (Level.RAID10, NEAR_2, 1 / 2),
        (Level.RAID5, None, 7 / 8),
        (Level.RAID6, None, 6 / 8),
    ],
)
def test_room_as_published(level: Level, layout: int | None, share: float) -> None:
    """Chen et al. 1994, table 3, storage efficiency for G = 8."""
    found = predict(free(8), option(level, 8, layout=layout))
    assert found.capacity.usable_bytes == pytest.approx(8 * TERABYTE * share, rel=1e-6)


def test_four_devices_behind_a_link_of_four_lanes_share_3938_mb_per_second() -> None:
    """Four lanes at 8 GT/s carry 3938 MB/s, four devices of as many lanes behind them
    no more in all (the kernel's PCIE_SPEED2MBS_ENC; arithmetic)."""
    plan = make_plan(behind_one(4, 3938.46e6, rate=3500e6), DEEP)
    for width in (2, 3, 4):
        found = planned(plan, Level.RAID0, width, 512 * KIB)
        assert found.prediction.read.ceiling_bytes_per_second == pytest.approx(3938.46e6, rel=1e-4)
        assert found.prediction.read.bottleneck.name == "uplink"


def test_md_uses_the_smallest_of_unequal_drives() -> None:
    supply = Supply(drives=(*drives(3), drive("d4", size=TERABYTE // 2)))
    found = predict(supply, option(Level.RAID5, 4))
    assert found.capacity.usable_bytes == pytest.approx(3 * TERABYTE / 2, rel=1e-6)
    assert found.capacity.idle_bytes == pytest.approx(3 * TERABYTE / 2, rel=1e-6)


def test_raid0_of_unequal_drives_uses_all_of_each_and_narrows() -> None:
    """md stripes over the rest once the smallest is full (drivers/md/raid0.c)."""
    supply = Supply(drives=(*drives(2), drive("d3", size=TERABYTE // 2)))
    found = predict(supply, option(Level.RAID0, 3), DEEP)
    assert found.capacity.usable_bytes == pytest.approx(2.5 * TERABYTE, rel=1e-6)
    assert found.read.ceiling_bytes_per_second == pytest.approx(3 * DRIVE, rel=0.01)
    assert found.read.floor_bytes_per_second <= 2 * DRIVE * 1.01


def test_parity_arithmetic_can_bind() -> None:
    supply = Supply(drives=drives(8), parity_bytes_per_second=300e6)
    found = predict(supply, option(Level.RAID6, 8), DEEP)
    assert found.write.bottleneck.name == "parity arithmetic"
    assert found.write.ceiling_bytes_per_second == pytest.approx(150e6)


def test_no_rebuild_where_there_is_nothing_to_rebuild_from() -> None:
    assert predict(free(4), option(Level.RAID0, 4)).rebuild is None
    rebuild = predict(free(4), option(Level.RAID5, 4)).rebuild
    assert rebuild is not None
    # A terabyte at what one drive writes, slower than md's default limit of 204.8 MB/s.
    assert rebuild.fastest.seconds == pytest.approx(TERABYTE / DRIVE, rel=1e-3)


# Where another drive buys nothing.


def test_the_gain_over_one_drive_fewer() -> None:
    plan = make_plan(free(6), DEEP)
    gain = planned(plan, Level.RAID0, 4, 64 * KIB).gain
    assert gain is not None
    assert gain.read == pytest.approx(1 / 3, rel=0.01)
    assert gain.write == pytest.approx(1 / 3, rel=0.01)
    assert not gain.nothing


def test_at_the_wall_the_last_drive_and_the_next_bring_nothing() -> None:
    plan = make_plan(behind_one(6, 3 * DRIVE), DEEP)
    before = planned(plan, Level.RAID0, 3, 64 * KIB)
    at_wall = planned(plan, Level.RAID0, 4, 64 * KIB)
    assert before.gain is not None
    assert not before.gain.nothing
    assert before.one_more is not None
    assert before.one_more.nothing
    assert at_wall.gain is not None
    assert at_wall.gain.nothing


def test_of_an_option_with_all_drives_the_next_is_on_paper() -> None:
    plan = make_plan(behind_one(4, 100 * DRIVE), DEEP)
    [whole] = [each for each in plan.best if each.option.level is Level.RAID0]
    assert whole.option.width == 4
    assert whole.one_more is not None
    assert whole.one_more.read == pytest.approx(1 / 4, rel=0.01)


def test_a_third_mirror_brings_safety_and_so_not_nothing() -> None:
    plan = make_plan(free(3), DEEP, Scope(levels=(Level.RAID1,)))
    [third] = [each for each in plan.options if each.option.width == 3]
    assert third.gain is not None
    assert third.gain.survives == 1
    assert not third.gain.nothing
