"""The invented drives and their story, as plain functions of a day."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.counters import IoCounters
from arraygauge.inventory.values import MemberState, SyncAction
from arraygauge.service.demo.bays import BAYS, SHELVES, UPLINK_BYTES_PER_SECOND
from arraygauge.service.demo.counters import InventedCounters, Work
from arraygauge.service.demo.drives import DISK_B, SSD_A, Strain, rate_alone, room_celsius
from arraygauge.service.demo.machine import host_of, states_at
from arraygauge.service.demo.pretending import array_rate, drive_rate
from arraygauge.service.demo.story import CYCLE_DAYS, freezes, state_of, turns
from arraygauge.service.demo.writing import WritePretence, cache_bytes

FRESH = Strain(days=0.0, celsius=40.0, slower=0.0, lanes=4)


@pytest.mark.parametrize(
    "worse",
    [
        replace(FRESH, days=700.0),
        replace(FRESH, celsius=60.0),
        replace(FRESH, slower=0.1),
        replace(FRESH, lanes=1),
    ],
    ids=["wear", "heat", "a fault", "its link"],
)
def test_a_drive_is_slower_by(worse: Strain) -> None:
    assert rate_alone(SSD_A, worse) < rate_alone(SSD_A, FRESH)


def test_a_disk_is_not_slower_when_warm() -> None:
    strain = replace(FRESH, lanes=1)
    assert rate_alone(DISK_B, replace(strain, celsius=50.0)) == rate_alone(DISK_B, strain)


def test_the_room_is_warmest_on_a_summer_afternoon() -> None:
    assert room_celsius(182.5) > room_celsius(182.0) > room_celsius(0.0)


def test_the_fast_array_gives_no_more_than_the_uplink() -> None:
    [fast] = [each for each in SHELVES if each.name == "md0"]
    alone = sum(drive_rate(name, 10.0) for name in fast.bays)
    assert array_rate(fast, 10.0) < UPLINK_BYTES_PER_SECOND < alone


def test_the_slowest_member_sets_the_pace_of_a_stripe() -> None:
    [large] = [each for each in SHELVES if each.name == "md1"]
    before, after = array_rate(large, 337.0), array_rate(large, 380.0)
    lost = 1 - drive_rate("sdc", 380.0) / drive_rate("sdc", 337.0)
    assert 1 - after / before == pytest.approx(lost, abs=0.02)


def test_the_story_comes_again_after_a_cycle_with_other_drives() -> None:
    before, after = state_of("sdd", 121.0), state_of("sdd", 121.0 + CYCLE_DAYS)
    assert before.lost
    assert after.lost
    assert after.generation == before.generation + 1
    assert list(turns(0.0, CYCLE_DAYS)) == [
        pytest.approx(day - CYCLE_DAYS) for day in turns(CYCLE_DAYS, 2 * CYCLE_DAYS)
    ]
    assert [each.bay for each in freezes(CYCLE_DAYS, 2 * CYCLE_DAYS)] == ["sdh"]


def test_a_drive_that_took_a_place_is_new_also_when_the_story_comes_again() -> None:
    assert state_of("sdd", 122.42).days == pytest.approx(1.0)
    assert state_of("sdd", CYCLE_DAYS).days == pytest.approx(CYCLE_DAYS - 121.42)


def test_the_kernel_shows_a_lost_member_as_failed_and_without_its_device() -> None:
    host = host_of(states_at(121.0), 0.0)
    assert host.device("sdd") is None
    [large] = [each for each in host.arrays if each.name == "md1"]
    [lost] = [each for each in large.members if each.name == "sdd"]
    assert (lost.states, lost.present, large.degraded) == ((MemberState.FAULTY,), False, 1)


def test_the_kernel_shows_how_far_a_rebuild_is() -> None:
    host = host_of(states_at(121.885), 0.0)
    [large] = [each for each in host.arrays if each.name == "md1"]
    assert large.sync_action is SyncAction.RECOVER
    assert large.sync_done_bytes is not None
    assert large.sync_total_bytes is not None
    assert large.sync_done_bytes / large.sync_total_bytes == pytest.approx(0.5)


@pytest.mark.parametrize("day", [0.0, 72.0, 121.0, 122.0, 386.0, 390.0])
def test_every_name_in_the_host_is_of_something_that_is_there(day: float) -> None:
    host = host_of(states_at(day), 0.0)
    names, links = {each.name for each in host.devices}, {each.link_id for each in host.links}
    assert len(host.links) == len(links)
    for device in host.devices:
        assert set(device.link_ids) <= links
        assert {*device.below, *device.above} <= names
    assert {each.stable_id for each in host.devices if each.model} == {
        each.stable_id for each in host.devices if not each.below
    }
    assert all(each.node.startswith("/invented/") for each in host.devices)


def test_a_fast_cache_that_is_too_small_for_a_burst_shows_as_a_cliff() -> None:
    host = host_of(states_at(0.0), 0.0)
    roomy, small = (WritePretence(seed=1).measure(host, day) for day in (1.0, 90.0))
    assert roomy.cliff is None
    assert small.cliff is not None
    assert small.cliff.after_bytes == pytest.approx(2 * cache_bytes(90.0), rel=0.1)
    assert roomy.bytes_per_second is not None
    assert small.cliff.before_bytes_per_second == pytest.approx(roomy.bytes_per_second, rel=0.05)


def at(moments: list[float], work: Work) -> list[dict[str, IoCounters | None]]:
    clock = [0.0]
    counters = InventedCounters(clock=lambda: clock[0], work=work)
    opened = counters.open([each.name for each in BAYS])
    found = []
    for moment in moments:
        clock[0] = moment
        found.append(opened.read())
    return found


def test_a_frozen_drive_completes_nothing_and_the_others_wait_for_it() -> None:
    work = Work(
        bays=frozenset({"sdf", "sdh"}),
        begins=0.0,
        ends=60.0,
        frozen="sdh",
        freezes=10.0,
        thaws=18.0,
    )
    before, within, later, after = at([10.0, 12.0, 16.0, 30.0], work)
    reads = [[each[name].reads for name in ("sdf", "sdh")] for each in (within, later)]  # type: ignore[union-attr]
    assert reads[0] == reads[1] == [before["sdf"].reads] * 2  # type: ignore[union-attr]
    assert [each["sdh"].in_flight for each in (before, later, after)] == [0, 5, 0]  # type: ignore[union-attr]
    assert later["sdh"].busy_seconds - within["sdh"].busy_seconds == pytest.approx(4.0)  # type: ignore[union-attr]
    assert after["sda"].reads == 0  # type: ignore[union-attr]
