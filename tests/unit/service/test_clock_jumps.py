"""Clocks that are set and machines that sleep make neither incidents nor drift."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from arraygauge.history import History, open_history
from arraygauge.inventory.values import Level
from arraygauge.judge import Grounds, Status, assess_device
from arraygauge.judge.findings import Matter
from arraygauge.service.keeper import Keeper
from invented import FAILED, array, drive, host, measured, member
from unit.history.conftest import InventedClock
from unit.service.memory_folder import folder_in_memory

YEAR, HOUR = 365 * 86400.0, 3600.0


@pytest.fixture
def history() -> Iterator[History]:
    with folder_in_memory() as folder, open_history(folder / "history.sqlite") as opened:
        yield opened


@pytest.fixture
def clock() -> InventedClock:
    return InventedClock()


def passed(keeper: Keeper, clock: InventedClock, rate: float) -> None:
    """A pass over one drive, dated by the clock on the wall."""
    alone = drive("sda")
    made = replace(measured("sda", rate), started_at_seconds=clock.wall_seconds)
    machine = replace(host([], [alone]), taken_at_seconds=clock.wall_seconds)
    verdict = assess_device(machine, alone, made, {}, Grounds())
    keeper.see_status(Status(host=machine, arrays=(), devices=(verdict,), seconds=1.0))


def kept(history: History, clock: InventedClock) -> Keeper:
    keeper = Keeper(history, clock, (), "invented")
    keeper.start()
    return keeper


def matters(keeper: Keeper) -> list[Matter]:
    return [each.finding.matter for each in keeper.open_incidents]


@pytest.mark.parametrize("seed", range(5))
def test_a_steady_drive_under_a_wild_clock_never_drifts(
    seed: int, history: History, clock: InventedClock
) -> None:
    """Two hundred passes an hour apart; the date jumps by up to a year before one in five, and
    the machine sleeps for up to a week before another."""
    chance, keeper = random.Random(seed), kept(history, clock)
    for _ in range(200):
        clock.pass_seconds(HOUR)
        if chance.random() < 0.2:
            clock.wall_seconds += chance.uniform(-YEAR, YEAR)
        if chance.random() < 0.2:
            clock.pass_seconds(chance.uniform(0, 7 * 86400))
        passed(keeper, clock, chance.gauss(500e6, 3e6))
    assert matters(keeper) == []
    for _ in range(12):
        clock.pass_seconds(HOUR)
        passed(keeper, clock, chance.gauss(440e6, 3e6))
    assert matters(keeper) == [Matter.DRIFT], "and one that does is found all the same"


def test_an_incident_is_one_whatever_the_clock_on_the_wall_does(
    history: History, clock: InventedClock
) -> None:
    pair = [drive("sda"), drive("sdb")]
    whole = array(Level.RAID1, [member("sda", 0), member("sdb", 1)], raid_disks=2)
    broken = array(Level.RAID1, [member("sda", 0), member("sdb", **FAILED)], raid_disks=2)
    keeper = kept(history, clock)
    keeper.see_host(host([whole], pair))
    for jump in (0.0, -YEAR, 2 * YEAR, -30 * YEAR):
        clock.wall_seconds += jump
        clock.pass_seconds(60)
        keeper.see_host(host([broken], pair))
        assert matters(keeper) == [Matter.NO_REDUNDANCY]
        assert [each.number for each in keeper.open_incidents] == [1]
    clock.wall_seconds += YEAR
    clock.pass_seconds(1)
    keeper.see_host(host([whole], pair))
    assert len(matters(keeper)) == 1, "a jump is no time that passed: it closes nothing"
    clock.pass_seconds(5)
    keeper.see_host(host([whole], pair))
    assert matters(keeper) == []


def test_an_agent_that_starts_after_the_clock_was_set_goes_on_with_its_incidents(
    history: History, clock: InventedClock
) -> None:
    pair = [drive("sda"), drive("sdb")]
    broken = array(Level.RAID1, [member("sda", 0), member("sdb", **FAILED)], raid_disks=2)
    kept(history, clock).see_host(host([broken], pair))
    clock.wall_seconds -= 30 * YEAR
    clock.pass_seconds(60)
    again = kept(history, clock)
    again.see_host(host([broken], pair))
    assert [incident.number for incident in again.open_incidents] == [1]
