"""Members beside each other under load: the slow one, the busy one, and the path they share."""

from __future__ import annotations

import pytest

from arraygauge.judge.passive import (
    BusyMember,
    LongWait,
    SharedPath,
    SlowMember,
    Unjudgeable,
    Unjudged,
)
from arraygauge.judge.passive.cusum import ALARM_AT, NONE, REFERENCE, SUSPECT_AT, average_run_length
from unit.judge.passive_machine import KIB, Load, Machine, hot, mirrored, scattered, streaming
from unit.judge.passive_scenarios import (
    accusations,
    begun,
    drives_of,
    peers,
    quiet_day,
    slowed_path,
    throttled,
    told,
)


@pytest.mark.parametrize("seed", range(4))
def test_a_member_at_half_speed_is_suspected_within_a_minute_and_alarmed_within_five(
    seed: int,
) -> None:
    found = throttled(seed)
    assert found.suspected is not None
    assert found.suspected <= 60
    assert found.alarmed is not None
    assert found.alarmed <= 300
    assert found.wrong == ()


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("seed", range(3))
def test_members_slowed_by_what_they_share_are_not_accused(seed: int, known: bool) -> None:
    found = slowed_path(seed, known=known)
    assert found.behind in found.paths
    assert found.links == {"expander" if known else None}
    assert not found.drives


def test_all_slowed_alike_are_held_against_what_they_did_before() -> None:
    found = slowed_path(0, whole=True, loads=(Load(1, streaming(512 * KIB), 0.02),))
    assert found.paths == {found.behind}
    assert not found.drives


def test_hard_disks_read_inside_after_the_rim_are_not_slower_than_they_were() -> None:
    """Rim and inside differ by 1.45 to 2 times in rate (published drive studies)."""
    machine = Machine(drives_of("turning"), 1)
    machine.bear(Load(1, streaming(512 * KIB), 0.02))
    *_, (_, watch) = told(machine, begun(machine, peers(heads=True)), 0, 700)
    for drive in machine.drives:
        drive.factor = 1.9
    for _, after in told(machine, watch, 700, 900):
        assert not accusations(after.seen)


@pytest.mark.parametrize(
    "kind", ["turning stripe", "flash stripe", "turning mirror", "flash mirror"]
)
def test_none_is_accused_in_healthy_work(kind: str) -> None:
    assert quiet_day(7, kind, seconds=900).accusations == ()


def test_a_member_with_more_work_is_busy_and_not_slow() -> None:
    machine = Machine(drives_of("flash"), 1)
    machine.bear(Load(4, streaming(128 * KIB), 0.02), Load(4, hot(2, 128 * KIB)))
    busy = set()
    for _, watch in told(machine, begun(machine, peers()), 0, 240):
        assert not accusations(watch.seen)
        busy |= {one.name for one in watch.seen if isinstance(one, BusyMember)}
    assert busy == {"sdd"}


def test_a_slow_member_behind_a_shared_link_is_told_from_the_link() -> None:
    machine = Machine(drives_of("flash"), 1)
    machine.bear(Load(4, streaming(256 * KIB)))
    machine.drives[1].factor = 2.0
    behind = frozenset({"sdb", "sdc", "sdd"})
    for _, watch in told(machine, begun(machine, peers(paths=(("hub", behind),))), 0, 240):
        assert not [one for one in watch.seen if isinstance(one, SharedPath)]
    assert [one.name for one in watch.seen if isinstance(one, SlowMember)] == ["sdc"]


def test_beside_those_behind_the_same_link_its_members_are_alike() -> None:
    machine = Machine(drives_of("flash"), 1)
    machine.bear(Load(4, streaming(256 * KIB)))
    for slot in (0, 1, 2):
        machine.drives[slot].factor = 2.0
    behind = frozenset({"sdb", "sdc", "sdd"})
    for _, watch in told(machine, begun(machine, peers(paths=(("hub", behind),))), 0, 60):
        assert watch.groups[0].rising == ()
    assert [one.link for one in accusations(watch.seen) if isinstance(one, SharedPath)] == ["hub"]


def test_two_members_without_load_to_compare_are_not_judged_and_that_is_said() -> None:
    machine = Machine(drives_of("flash"), 1)
    machine.bear(Load(1, scattered((4 * KIB,)), 3.0))
    for _, watch in told(machine, begun(machine, peers()), 0, 120):
        assert not accusations(watch.seen)
    assert {one.reason for one in watch.seen if isinstance(one, Unjudged)} == {
        Unjudgeable.TOO_LITTLE
    }
    assert len(watch.seen) == 6


def test_a_mirror_that_serves_a_stream_is_not_held_against_one_that_does_not() -> None:
    machine = Machine(drives_of("turning", 2), 3)
    machine.bear(Load(4, mirrored(256 * KIB, 0.1, nearest=True)))
    group = peers(2, even=False, heads=True)
    for _, watch in told(machine, begun(machine, group), 0, 300):
        assert not accusations(watch.seen)
    assert {one.reason for one in watch.seen if isinstance(one, Unjudged)} == {
        Unjudgeable.UNLIKE_LOAD
    }


def test_a_slow_copy_of_a_flash_mirror_is_found_though_it_gets_less_to_read() -> None:
    machine = Machine(drives_of("flash", 2), 3)
    machine.bear(Load(12, mirrored(256 * KIB, 0.1, nearest=False)))
    machine.drives[1].factor = 2.0
    *_, (_, watch) = told(machine, begun(machine, peers(2, even=False)), 0, 240)
    assert [one.name for one in accusations(watch.seen) if isinstance(one, SlowMember)] == ["sdc"]


def test_a_deep_queue_before_the_slowest_of_good_drives_is_a_long_wait_and_no_accusation() -> None:
    machine = Machine(drives_of("flash"), 1)
    machine.bear(Load(200, scattered((512 * KIB,))))
    for _, watch in told(machine, begun(machine, peers()), 0, 200):
        assert not accusations(watch.seen)
    assert "sdb" in {one.name for one in watch.seen if isinstance(one, LongWait)}


def test_one_long_hiccup_is_not_persistence() -> None:
    """Whatever its size one look moves the evidence less than suspicion takes."""
    assert not NONE.with_look(12.0, 0.0).suspicious


def test_the_run_length_without_a_cause_is_what_the_text_says() -> None:
    """A member 10 % slower than its peers, looks that deviate by 0.35."""
    assert average_run_length(0.095, 0.35, SUSPECT_AT) == pytest.approx(9.1e6, rel=0.1)
    assert average_run_length(0.095, 0.35, ALARM_AT) > 1e20


def test_the_run_length_agrees_with_the_printed_one() -> None:
    """Montgomery's tabular CUSUM of K 0.5, H 5 has a one-sided run length in control of some
    938 (from memory): in units of the deviation, the allowance being this chart's own."""
    deviation = 2 * REFERENCE
    assert average_run_length(0.0, deviation, 5 * deviation) == pytest.approx(938, rel=0.01)
