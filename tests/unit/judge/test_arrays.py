"""Verdicts on arrays, from invented hosts and invented measurements."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.values import ArrayState, Level, MemberState, SyncAction
from arraygauge.judge import Cause, Grounds, Pace, Protection, assess_array
from arraygauge.probe.values import Attempt, Outcome, Skipped, SkipReason
from arraygauge.theory import Board, MemberRate, Source, Uplink
from invented import FAILED, array, drive, host, measured, member

DRIVE = 20e6
NAMES = ("vdb", "vdc", "vdd", "vde")


def attempts(array_rate: float, **members: float) -> dict[str, Attempt]:
    rates = dict.fromkeys(NAMES, DRIVE) | members | {"md0": array_rate}
    return {name: measured(name, rate) for name, rate in rates.items()}


STRIPE = array(Level.RAID0, (member(name, slot) for slot, name in enumerate(NAMES)))
PARITY = array(Level.RAID5, (member(name, slot) for slot, name in enumerate(NAMES)))


def test_a_stripe_at_its_members_sum_is_as_expected() -> None:
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(79e6), Grounds())
    assert verdict.pace is Pace.AS_EXPECTED
    assert verdict.ratio == pytest.approx(79 / 80)
    assert verdict.health.protection is Protection.NEVER_ANY


def test_a_slow_member_is_named_and_explains_the_whole_shortfall() -> None:
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(20e6, vdd=5e6), Grounds())
    assert (verdict.pace, verdict.cause) == (Pace.SHORT, Cause.SLOW_MEMBER)
    [odd] = verdict.odd_members
    assert (odd.name, odd.bytes_per_second, odd.peers_bytes_per_second) == ("vdd", 5e6, DRIVE)
    assert odd.explained_share == pytest.approx(1)


def test_a_slow_member_explains_only_its_part() -> None:
    """Member at 15 of 20 costs a stripe of four 20 of its 80 MB/s; the array lost 40."""
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(40e6, vdd=15e6), Grounds())
    assert verdict.odd_members[0].explained_share == pytest.approx(20 / 40)


def test_good_members_that_fall_short_together_point_to_something_shared() -> None:
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(60e6), Grounds())
    assert (verdict.pace, verdict.cause) == (Pace.SHORT, Cause.UNSEEN_SHARED_LIMIT)
    assert verdict.odd_members == ()


def test_the_same_figures_are_as_expected_once_the_uplink_is_declared() -> None:
    uplink = Uplink(
        name="chipset", devices=("vd*",), read_bytes_per_second=60e6, write_bytes_per_second=60e6
    )
    verdict = assess_array(
        host([STRIPE]), STRIPE, attempts(60e6), Grounds(board=Board(uplinks=(uplink,)))
    )
    assert verdict.pace is Pace.AS_EXPECTED
    assert verdict.expectation is not None
    assert verdict.expectation.bottleneck.name == "chipset"


def test_a_rated_drive_is_held_to_its_rating_not_its_peers() -> None:
    rating = MemberRate(
        read_bytes_per_second=40e6, write_bytes_per_second=None, source=Source.RATED
    )
    grounds = Grounds(rated=dict.fromkeys(NAMES, rating))
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(80e6), grounds)
    assert verdict.pace is Pace.SHORT
    assert len(verdict.odd_members) == 4


def test_a_failed_parity_member_is_degraded_with_the_degraded_expectation() -> None:
    members = (*PARITY.members[:3], member("vde", **FAILED))
    degraded = replace(PARITY, members=members, raid_disks=4, degraded=1)
    skip = Skipped(device="md0", reason=SkipReason.NO_REDUNDANCY_LEFT, detail="left alone")
    verdict = assess_array(
        host([degraded]), degraded, attempts(0) | {"md0": skip, "vde": skip}, Grounds()
    )
    assert verdict.health.protection is Protection.NONE_LEFT
    assert verdict.health.lost == ("vde",)
    assert verdict.pace is Pace.NOT_MEASURED
    assert verdict.expectation is not None
    assert verdict.expectation.ceiling_bytes_per_second == pytest.approx(3 * DRIVE)


def test_a_stripe_member_gone_while_md_says_clean_is_broken_by_name() -> None:
    members = (*STRIPE.members[:3], member("vde", 3, present=False))
    silent = replace(STRIPE, members=members)
    assert silent.state is ArrayState.CLEAN
    verdict = assess_array(host([silent]), silent, attempts(0), Grounds())
    assert verdict.health.protection is Protection.BROKEN
    assert verdict.health.silent == ("vde",)
    assert verdict.expectation is None


def test_a_member_being_rebuilt_is_named() -> None:
    spare = member("vde", 3, states=(MemberState.SPARE,), state_text="spare")
    rebuilding = replace(
        PARITY, members=(*PARITY.members[:3], spare), sync_action=SyncAction.RECOVER, degraded=1
    )
    verdict = assess_array(host([rebuilding]), rebuilding, attempts(60e6), Grounds())
    assert verdict.health.rebuilding == ("vde",)
    assert verdict.health.protection is Protection.NONE_LEFT


@pytest.mark.parametrize("outcome", [Outcome.READ_ERROR, Outcome.INTERRUPTED, Outcome.ABANDONED])
def test_an_unfinished_measurement_is_never_judged(outcome: Outcome) -> None:
    partial = replace(measured("md0", 1e6), outcome=outcome)
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(0) | {"md0": partial}, Grounds())
    assert verdict.pace is Pace.NOT_MEASURED


def test_a_member_that_could_not_be_measured_is_taken_to_be_like_the_rest() -> None:
    skip = Skipped(device="vde", reason=SkipReason.TOO_SMALL, detail="tiny")
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(80e6) | {"vde": skip}, Grounds())
    assert verdict.expectation is not None
    assert verdict.expectation.ceiling_bytes_per_second == pytest.approx(4 * DRIVE)
    sources = {use.resource.name: use.resource.source for use in verdict.expectation.uses}
    assert sources["vde"] is Source.ASSUMED


def test_peers_of_another_model_do_not_make_a_member_odd() -> None:
    """Three hard disks and three faster drives in one array: each is held to its kind."""
    names = ("sda", "sdb", "sdc", "sdd", "sde", "sdf")
    mixed = array(Level.RAID0, (member(name, slot) for slot, name in enumerate(names)))
    drives = [drive(name, model="Invented A" if name < "sdd" else "Invented B") for name in names]
    rates = {name: measured(name, 20e6 if name < "sdd" else 100e6) for name in names}
    verdict = assess_array(
        host([mixed], drives), mixed, {"md0": measured("md0", 120e6)} | rates, Grounds()
    )
    assert verdict.odd_members == ()
    assert verdict.pace is Pace.AS_EXPECTED


def test_spares_and_journals_are_no_peers_of_the_members() -> None:
    fast = {"states": (MemberState.SPARE,), "state_text": "spare"}
    spare = replace(PARITY, members=(*PARITY.members, member("vdf", None, **fast)), raid_disks=4)
    verdict = assess_array(
        host([spare]), spare, attempts(80e6) | {"vdf": measured("vdf", 40e6)}, Grounds()
    )
    assert (verdict.pace, verdict.odd_members) == (Pace.AS_EXPECTED, ())


def test_a_write_mostly_disk_is_not_held_to_the_fast_drive_beside_it() -> None:
    late = member("vdc", 1, states=(MemberState.IN_SYNC, MemberState.WRITE_MOSTLY))
    mirror = array(Level.RAID1, [member("vdb", 0), late], chunk_bytes=None)
    rates = {"vdb": measured("vdb", 500e6), "vdc": measured("vdc", 150e6)}
    verdict = assess_array(
        host([mirror]), mirror, {**rates, "md0": measured("md0", 500e6)}, Grounds()
    )
    assert (verdict.pace, verdict.odd_members) == (Pace.AS_EXPECTED, ())


def test_members_a_little_slow_are_not_called_an_unseen_limit() -> None:
    """172 of 200 MB/s is not odd, but four times it is short: the members explain it."""
    rates = {"vdb": 20e6, "vdc": 20e6, "vdd": 17.4e6, "vde": 17.2e6}
    verdict = assess_array(host([STRIPE]), STRIPE, attempts(68.8e6, **rates), Grounds())
    assert (verdict.pace, verdict.cause) == (Pace.SHORT, Cause.MEMBERS_SLOWER)


def test_one_member_a_little_slow_is_named_in_an_array_that_is_short_by_it() -> None:
    """Alone it would not be called odd; the array's own shortfall is a second witness."""
    slow = assess_array(host([STRIPE]), STRIPE, attempts(73.6e6, vde=18.4e6), Grounds())
    assert (slow.pace, slow.cause) == (Pace.SHORT, Cause.SLOW_MEMBER)
    assert [odd.name for odd in slow.odd_members] == ["vde"]
    assert slow.odd_members[0].explained_share == pytest.approx(1)
    fine = assess_array(host([STRIPE]), STRIPE, attempts(79e6, vde=18.4e6), Grounds())
    shared = assess_array(host([STRIPE]), STRIPE, attempts(60e6, vde=19.2e6), Grounds())
    assert fine.odd_members == shared.odd_members == ()


def test_members_whose_state_cannot_be_read_make_nothing_broken() -> None:
    unread = [replace(each, states=(), state_text=None) for each in PARITY.members]
    counted = replace(PARITY, members=tuple(unread), degraded=0)
    unsure = replace(counted, degraded=None)
    for odd, protection in ((counted, Protection.WHOLE), (unsure, Protection.UNKNOWN)):
        verdict = assess_array(host([odd]), odd, attempts(80e6), Grounds())
        assert verdict.health.protection is protection


def test_a_first_resync_is_not_yet_protection() -> None:
    settling = replace(PARITY, sync_action=SyncAction.RESYNC)
    verdict = assess_array(host([settling]), settling, attempts(80e6), Grounds())
    assert verdict.health.protection is Protection.SETTLING
