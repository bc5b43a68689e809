"""Which arrays a plan looks at, and in which order it takes drives."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory.plan import (
    Scope,
    Supply,
    enumerate_options,
)
from arraygauge.theory.plan_values import FAR_2, NEAR_2, OFFSET_2, PLANNED_CHUNKS
from arraygauge.units import KIB
from unit.theory.planned_drives import (
    DRIVE,
    drive,
    drives,
    free,
    link,
)


def test_six_chunks_from_32_kib_to_1_mib_are_looked_at() -> None:
    assert tuple(size * KIB for size in (32, 64, 128, 256, 512, 1024)) == PLANNED_CHUNKS


def test_every_level_but_linear_and_raid4_is_looked_at_unless_asked_for() -> None:
    usual = {each.level for each in enumerate_options(free(4))}
    assert usual == {Level.RAID0, Level.RAID1, Level.RAID10, Level.RAID5, Level.RAID6}
    asked = enumerate_options(free(4), Scope(levels=(Level.RAID4, Level.LINEAR)))
    assert {each.level for each in asked} == {Level.RAID4, Level.LINEAR}


@pytest.mark.parametrize(
    ("level", "fewest"),
    [(Level.RAID0, 2), (Level.RAID1, 2), (Level.RAID5, 3), (Level.RAID6, 4), (Level.RAID10, 4)],
)
def test_no_level_has_fewer_members_than_make_sense(level: Level, fewest: int) -> None:
    widths = {each.width for each in enumerate_options(free(8)) if each.level is level}
    assert min(widths) == fewest


def test_far_and_offset_copies_are_for_heads() -> None:
    def layouts(disk: bool) -> set[int | None]:
        scope = Scope(levels=(Level.RAID10,))
        return {each.layout for each in enumerate_options(free(4, disk=disk), scope)}

    assert layouts(disk=False) == {NEAR_2}
    assert layouts(disk=True) == {NEAR_2, FAR_2, OFFSET_2}


def test_each_option_comes_once() -> None:
    found = enumerate_options(free(8, disk=True))
    assert len(set(found)) == len(found)


def test_different_drives_make_arrays_of_their_own_and_one_of_all() -> None:
    supply = Supply(
        drives=(*drives(2, rate=10 * DRIVE), drive("slow1", disk=True), drive("slow2", disk=True))
    )
    found = {frozenset(each.members) for each in enumerate_options(supply)}
    assert {frozenset({"d1", "d2"}), frozenset({"slow1", "slow2"})} <= found
    assert frozenset({"d1", "d2", "slow1", "slow2"}) in found


def test_the_drives_taken_first_are_spread_over_the_links() -> None:
    held = drives(4)
    supply = Supply(
        drives=held, links=(link("one", 150e6, held[:2]), link("other", 150e6, held[2:]))
    )
    pairs = {each.members for each in enumerate_options(supply) if each.width == 2}
    assert pairs == {("d1", "d3")}
