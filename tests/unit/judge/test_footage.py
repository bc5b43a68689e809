"""How many streams an array carries: measured where it was, predicted elsewhere, and as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

import pytest

from arraygauge.inventory.values import Array, Level
from arraygauge.judge import ArrayVerdict, Grounds, assess_array, with_footage
from arraygauge.judge.footage import as_it_is
from arraygauge.judge.footage_values import Basis, Carried, FootageVerdict, Holding, Promise
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.theory.conditions import Condition
from arraygauge.theory.footage import stream_at
from invented import FAILED, array, drive, host, measured, member

NAMES = ("sda", "sdb", "sdc", "sdd")
BUSY = Skipped(device="md0", reason=SkipReason.OTHERS_AT_WORK, detail="md0 is in use")


def promise(streams: int | None, headroom: Fraction = Fraction(0)) -> Promise:
    """Streams of 800 Mb/s, which are 100 MB/s."""
    return Promise(
        name="interview", stream=stream_at(Fraction(800)), streams=streams, headroom=headroom
    )


def raid(level: Level, *lost: str) -> Array:
    members = [member(name, slot) for slot, name in enumerate(NAMES)]
    held = [replace(each, **FAILED) if each.name in lost else each for each in members]
    return array(
        level, held, raid_disks=4, degraded=len(lost) if level is not Level.RAID0 else None
    )


def verdict(
    held: Array,
    asked: Promise,
    own: float | None,
    *,
    members: float = 200e6,
    rotational: bool = False,
) -> ArrayVerdict:
    """``own`` is the array's measured rate, None while it is in use."""
    seen = host([held], [drive(name, rotational=rotational) for name in NAMES])
    attempts: Mapping[str, Attempt] = {
        **{name: measured(name, members) for name in NAMES},
        "md0": measured("md0", own) if own is not None else BUSY,
    }
    grounds = Grounds(footage={"md0": (asked,)})
    return with_footage(seen, assess_array(seen, held, attempts, grounds), attempts, grounds)


def carried(found: ArrayVerdict) -> dict[Condition, Carried]:
    [footage] = found.footage
    return {each.condition: each for each in footage.carried}


def test_one_stream_is_carried_at_the_measured_rate() -> None:
    now = carried(verdict(raid(Level.RAID0), promise(1), 790e6))[Condition.HEALTHY]
    assert now.now
    assert now.basis is Basis.MEASURED
    assert now.most_bytes_per_second == pytest.approx(790e6)
    assert now.most_streams == 7


def test_an_array_without_redundancy_carries_nothing_once_a_member_is_lost() -> None:
    assert set(carried(verdict(raid(Level.RAID0), promise(1), 790e6))) == {Condition.HEALTHY}


def test_what_was_not_measured_is_predicted_and_says_so() -> None:
    found = carried(verdict(raid(Level.RAID5), promise(None), None))
    assert {each.basis for each in found.values()} == {Basis.PREDICTED}
    assert set(found) == set(Condition)


def test_a_measured_shortfall_is_taken_to_stay_when_a_member_is_lost() -> None:
    whole = carried(verdict(raid(Level.RAID5), promise(None), 800e6))
    half = carried(verdict(raid(Level.RAID5), promise(None), 400e6))
    for condition in (Condition.DEGRADED, Condition.REBUILDING):
        assert half[condition].most_bytes_per_second < whole[condition].most_bytes_per_second
        assert half[condition].most_streams < whole[condition].most_streams


def test_a_rate_above_the_expected_promises_no_more_in_other_conditions() -> None:
    expected = carried(verdict(raid(Level.RAID5), promise(None), None))
    above = carried(verdict(raid(Level.RAID5), promise(None), 900e6))
    assert above[Condition.DEGRADED] == expected[Condition.DEGRADED]


@pytest.mark.parametrize(
    ("streams", "headroom", "holding"),
    [
        (2, Fraction(0), Holding.HOLDS),
        (7, Fraction(0), Holding.HOLDS),
        (8, Fraction(0), Holding.FAILS),
        (5, Fraction(3, 10), Holding.HOLDS),
        (7, Fraction(3, 10), Holding.TIGHT),
        (8, Fraction(3, 10), Holding.FAILS),
    ],
)
def test_a_promise_holds_with_its_headroom_without_it_or_not(
    streams: int, headroom: Fraction, holding: Holding
) -> None:
    """7.9 streams fit, 5.5 with 30 % left free: arithmetic, for the ceiling; the array has one
    member, so that nothing is left to chance."""
    alone = array(Level.LINEAR, [member("sda", 0)], chunk_bytes=None)
    seen = host([alone], [drive("sda")])
    asked = promise(streams, headroom)
    attempts = {"sda": measured("sda", 790e6), "md0": measured("md0", 790e6)}
    grounds = Grounds(footage={"md0": (asked,)})
    [found] = with_footage(
        seen, assess_array(seen, alone, attempts, grounds), attempts, grounds
    ).footage
    assert found.now is not None
    assert found.now.holding(asked) is holding


def test_between_least_and_most_it_may_hold() -> None:
    now = Carried(
        condition=Condition.HEALTHY,
        now=True,
        basis=Basis.PREDICTED,
        least_bytes_per_second=100e6,
        most_bytes_per_second=400e6,
        least_streams=1,
        most_streams=4,
        bare_streams=5,
    )
    assert now.holding(promise(1)) is Holding.HOLDS
    assert now.holding(promise(4)) is Holding.PERHAPS
    assert now.holding(promise(5)) is Holding.TIGHT
    assert now.holding(promise(6)) is Holding.FAILS
    assert now.holding(promise(None)) is None


def test_heads_that_move_between_streams_cost_some_at_the_least() -> None:
    flash = carried(verdict(raid(Level.RAID0), promise(4), 800e6))[Condition.HEALTHY]
    disks = carried(verdict(raid(Level.RAID0), promise(4), 800e6, rotational=True))
    assert disks[Condition.HEALTHY].least_streams < flash.least_streams


def test_too_little_known_is_no_figure() -> None:
    """No member has a rate."""
    held = raid(Level.RAID5)
    grounds = Grounds(footage={"md0": (promise(2),)})
    attempts: Mapping[str, Attempt] = {"md0": BUSY}
    [found] = with_footage(
        host([held]), assess_array(host([held]), held, attempts, grounds), attempts, grounds
    ).footage
    assert found.carried == ()
    assert found.now is None
    assert as_it_is(host([held]), held, found) == found


def test_nothing_promised_changes_nothing() -> None:
    held = raid(Level.RAID5)
    attempts: Mapping[str, Attempt] = {"md0": BUSY}
    plain = assess_array(host([held]), held, attempts, Grounds())
    assert with_footage(host([held]), plain, attempts, Grounds()) == plain


def seen_later(found: ArrayVerdict, held: Array) -> FootageVerdict:
    [footage] = found.footage
    return as_it_is(host([held], [drive(name) for name in NAMES]), held, footage)


def test_a_later_look_that_shows_the_same_leaves_what_was_measured() -> None:
    found = verdict(raid(Level.RAID5), promise(4), 800e6)
    assert seen_later(found, raid(Level.RAID5)) == found.footage[0]


def test_a_later_look_that_shows_a_loss_gives_what_was_foretold_of_it() -> None:
    found = verdict(raid(Level.RAID5), promise(4), 800e6)
    later = seen_later(found, raid(Level.RAID5, "sdb"))
    assert later.now is not None
    assert later.now.condition is Condition.DEGRADED
    assert later.now.basis is Basis.PREDICTED
    assert later.now.most_streams == carried(found)[Condition.DEGRADED].most_streams


def test_two_lost_members_of_a_double_parity_leave_what_the_other_two_read() -> None:
    """All that is left of each row is read to compute the rest: twice 200 MB/s for two rows'
    data of two members (arithmetic)."""
    found = verdict(raid(Level.RAID6), promise(None), 800e6)
    twice = seen_later(found, raid(Level.RAID6, "sda", "sdb"))
    assert twice.now is not None
    assert twice.now.most_bytes_per_second == pytest.approx(400e6)
    assert twice.now.most_streams == 4


def test_an_array_whose_data_is_incomplete_carries_nothing_known() -> None:
    found = verdict(raid(Level.RAID5), promise(4), 800e6)
    assert seen_later(found, raid(Level.RAID5, "sda", "sdb")).now is None
