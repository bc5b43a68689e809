"""Expectations while the array itself is busy."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.values import Array, Level, MemberState, SyncAction
from arraygauge.theory import BARE, SEQUENTIAL_READ, Expectation, MemberRate, Source, expect_array
from invented import array, host, member

DRIVE = 100e6
NAMES = ("sda", "sdb", "sdc", "sdd")
RATES = dict.fromkeys(
    NAMES,
    MemberRate(read_bytes_per_second=DRIVE, write_bytes_per_second=DRIVE, source=Source.RATED),
)
PARITY = array(Level.RAID5, [member(name, slot) for slot, name in enumerate(NAMES)])


def expected(running: Array) -> Expectation:
    band = expect_array(host([running]), running, RATES, BARE, SEQUENTIAL_READ)
    assert band is not None
    return band


def test_a_check_takes_between_the_kernels_least_and_its_present_speed() -> None:
    """Least by default 1000 KiB/s a member (md.rst, speed_limit_min)."""
    checking = replace(PARITY, sync_action=SyncAction.CHECK, sync_bytes_per_second=40_000_000)
    band = expected(checking)
    assert band.floor_bytes_per_second == pytest.approx(4 * (DRIVE - 40e6))
    assert band.ceiling_bytes_per_second == pytest.approx(4 * (DRIVE - 1000 * 1024))


def test_a_delayed_check_takes_nothing() -> None:
    waiting = replace(PARITY, sync_action=SyncAction.CHECK, sync_delayed=True)
    assert expected(waiting).floor_bytes_per_second == pytest.approx(4 * DRIVE)


def test_a_rebuild_leaves_the_survivors_less_than_a_degraded_array_at_rest() -> None:
    filling = member("sdd", 3, states=(MemberState.SPARE,), state_text="spare")
    rebuilding = replace(
        PARITY,
        members=(*PARITY.members[:3], filling),
        sync_action=SyncAction.RECOVER,
        sync_bytes_per_second=50_000_000,
        degraded=1,
    )
    band = expected(rebuilding)
    assert band.floor_bytes_per_second == pytest.approx(3 * (DRIVE - 50e6))
    assert band.ceiling_bytes_per_second < 3 * DRIVE
