"""An array healthy, degraded and rebuilding: as the model's own pieces say each by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level, SyncAction
from arraygauge.theory import (
    BARE,
    ArrayModel,
    Direction,
    MemberRate,
    Source,
    Workload,
    expect,
    model_array,
)
from arraygauge.theory.activity import LEAST_SYNC_BYTES_PER_SECOND, MOST_SYNC_BYTES_PER_SECOND
from arraygauge.theory.conditions import (
    POSITIONING_SECONDS,
    Condition,
    condition_of,
    in_condition,
    with_heads,
)
from invented import FAILED, array, host, member

NAMES = ("sda", "sdb", "sdc", "sdd")
RATE = MemberRate(read_bytes_per_second=400e6, write_bytes_per_second=None, source=Source.MEASURED)
STREAM = Workload(direction=Direction.READ)


def model(level: Level, *lost: str, rebuilding: str | None = None) -> ArrayModel:
    """Four members; lost ones are failed, one may be filled again."""
    members = [member(name, slot) for slot, name in enumerate(NAMES)]
    members = [replace(each, **FAILED) if each.name in lost else each for each in members]
    changes: dict[str, object] = {"raid_disks": 4, "degraded": len(lost)}
    if rebuilding is not None:
        slot = NAMES.index(rebuilding)
        members = [each for each in members if each.name != rebuilding]
        members.append(member("sde", slot, states=(), state_text="spare"))
        changes |= {"sync_action": SyncAction.RECOVER, "sync_bytes_per_second": 50_000_000}
    held = array(level, members, **changes)
    found = model_array(host([held]), held, dict.fromkeys(NAMES, RATE), BARE, Direction.READ)
    assert found is not None
    return found


def rate(found: ArrayModel) -> float:
    expected = expect(found, STREAM)
    assert expected is not None
    return expected.ceiling_bytes_per_second


def test_the_condition_is_the_kernels_word() -> None:
    assert condition_of(model(Level.RAID5)) is Condition.HEALTHY
    assert condition_of(model(Level.RAID5, "sdb")) is Condition.DEGRADED
    assert condition_of(model(Level.RAID5, "sdb", rebuilding="sdb")) is Condition.REBUILDING


@pytest.mark.parametrize("level", [Level.RAID1, Level.RAID5, Level.RAID6, Level.RAID10])
def test_a_whole_array_of_equal_members_degrades_in_one_way(level: Level) -> None:
    for condition in (Condition.DEGRADED, Condition.REBUILDING):
        [found] = in_condition(model(level), condition)
        assert len(found.geometry.missing) == 1


def test_a_level_without_redundancy_does_not_survive_it() -> None:
    assert in_condition(model(Level.RAID0), Condition.DEGRADED) == ()
    assert in_condition(model(Level.RAID0), Condition.REBUILDING) == ()


def test_fixed_parity_and_unlike_members_are_each_a_way_of_its_own() -> None:
    assert len(in_condition(model(Level.RAID4), Condition.DEGRADED)) == 4
    whole = model(Level.RAID5)
    members = [
        replace(each, read_bytes_per_second=rate)
        for each, rate in zip(whole.network.members, (400e6, 401e6, 300e6, 399e6), strict=True)
        if each is not None
    ]
    unlike = replace(whole, network=replace(whole.network, members=tuple(members)))
    lost = [min(each.geometry.missing) for each in in_condition(unlike, Condition.DEGRADED)]
    assert lost == [0, 2]


@given(
    level=st.sampled_from([Level.RAID1, Level.RAID5, Level.RAID6, Level.RAID10]),
    slots=st.integers(4, 9),
    streams=st.integers(1, 4),
)
def test_of_equal_members_it_makes_no_difference_which_is_lost(
    level: Level, slots: int, streams: int
) -> None:
    """Why one of them stands for all: every loss by itself gives the same band."""
    names = [f"sd{chr(ord('a') + slot)}" for slot in range(slots)]
    workload = Workload(direction=Direction.READ, streams=streams, queue_depth=8)
    bands = set()
    for lost in range(slots):
        members = [member(name, slot) for slot, name in enumerate(names)]
        members[lost] = replace(members[lost], **FAILED)
        held = array(level, members, raid_disks=slots, degraded=1)
        found = model_array(host([held]), held, dict.fromkeys(names, RATE), BARE, Direction.READ)
        assert found is not None
        band = expect(found, workload)
        assert band is not None
        ends = (band.floor_bytes_per_second, band.ceiling_bytes_per_second)
        bands.add(tuple(round(end / 1e6) for end in ends))
    spread = [max(end) / min(end) for end in zip(*bands, strict=True)]
    assert max(spread) < 1.05


def test_what_is_foretold_of_a_loss_is_what_is_expected_once_it_happened() -> None:
    foretold = in_condition(model(Level.RAID5), Condition.DEGRADED)[0]
    happened = model(Level.RAID5, "sdb")
    assert rate(foretold) == pytest.approx(rate(happened))
    assert in_condition(happened, Condition.DEGRADED) == (happened,)


def test_a_degraded_array_made_whole_does_what_a_whole_one_does() -> None:
    [whole] = in_condition(model(Level.RAID5, "sdb"), Condition.HEALTHY)
    assert whole.geometry.missing == frozenset()
    assert rate(whole) == pytest.approx(rate(model(Level.RAID5)))


def test_a_rebuild_moves_from_the_kernels_minimum_to_its_maximum() -> None:
    """1000 and 200000 KiB/s: Documentation/admin-guide/md.rst."""
    rebuilding = in_condition(model(Level.RAID5), Condition.REBUILDING)[0]
    background = rebuilding.network.background
    assert background.least["sdb"].read == LEAST_SYNC_BYTES_PER_SECOND
    assert background.least["sda"].write == LEAST_SYNC_BYTES_PER_SECOND
    assert background.most["sdd"].read == MOST_SYNC_BYTES_PER_SECOND
    band = expect(rebuilding, STREAM)
    degraded = expect(in_condition(model(Level.RAID5), Condition.DEGRADED)[0], STREAM)
    assert band is not None
    assert degraded is not None
    given_way = 1 - LEAST_SYNC_BYTES_PER_SECOND / 400e6
    assert band.ceiling_bytes_per_second == pytest.approx(
        given_way * degraded.ceiling_bytes_per_second
    )
    assert band.floor_bytes_per_second < degraded.floor_bytes_per_second


def test_a_running_rebuild_is_taken_as_it_runs() -> None:
    running = model(Level.RAID5, "sdb", rebuilding="sdb")
    assert in_condition(running, Condition.REBUILDING) == (running,)
    [calm] = in_condition(running, Condition.DEGRADED)
    assert rate(calm) == pytest.approx(rate(model(Level.RAID5, "sdb")))


def test_heads_take_their_time_only_where_it_is_not_known() -> None:
    measured = replace(RATE, operation_seconds=0.009)
    held = array(Level.RAID0, [member(name, slot) for slot, name in enumerate(NAMES)])
    rates = {**dict.fromkeys(NAMES, RATE), "sdb": measured}
    found = model_array(host([held]), held, rates, BARE, Direction.READ)
    assert found is not None
    seconds = [
        each.operation_seconds
        for each in with_heads(found, frozenset({"sda", "sdb"})).network.members
        if each is not None
    ]
    assert seconds == [POSITIONING_SECONDS, 0.009, 0.0, 0.0]
