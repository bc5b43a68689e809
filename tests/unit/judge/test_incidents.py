"""Incidents: one for a cause, opened, followed and closed; the kernel's words as findings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.values import Array, Level, MemberState, SyncAction
from arraygauge.judge.findings import (
    Cause,
    Finding,
    Matter,
    Observation,
    Origin,
    Severity,
    by_cause,
)
from arraygauge.judge.incidents import (
    FLAPS_TO_DAMP,
    REOPEN_WITHIN_SECONDS,
    Change,
    ChangeKind,
    IncidentBook,
    advance,
    book_of,
)
from arraygauge.judge.state import Serving, observe_state
from invented import FAILED, array, drive, host, member

ELDER = Cause(stable_id="wwn-elder", name="sdd")


def finding(
    matter: Matter = Matter.SLOW_MEMBER,
    severity: Severity = Severity.MINOR,
    *,
    cause: Cause = ELDER,
    origin: Origin = Origin.STATE,
    signature: str = "",
) -> Finding:
    return Finding(
        origin=origin,
        cause=cause,
        matter=matter,
        severity=severity,
        arrays=("md0",),
        signature=signature,
        facts=None,
    )


def look(*found: Finding, origin: Origin = Origin.STATE) -> Observation:
    return Observation(origin=origin, findings=found)


def follow(*looks: tuple[float, Observation]) -> tuple[IncidentBook, list[Change]]:
    book = IncidentBook()
    told: list[Change] = []
    for moment, observation in looks:
        book, changes = advance(book, observation, moment)
        told += changes
    return book, told


def kinds(changes: list[Change]) -> list[ChangeKind]:
    return [change.kind for change in changes]


def test_the_same_finding_again_changes_nothing() -> None:
    book, changes = follow((0, look(finding())), (1, look(finding())), (2, look(finding())))
    assert kinds(changes) == [ChangeKind.OPENED]
    assert [incident.number for incident in book.open] == [1]


def test_two_findings_with_one_cause_are_one_incident_told_as_the_worse() -> None:
    slow, hangs = finding(), finding(Matter.DEVICE_HANGS, Severity.MAJOR)
    book, changes = follow((0, look(slow, hangs)))
    [incident] = book.open
    assert (incident.finding.matter, kinds(changes)) == (Matter.DEVICE_HANGS, [ChangeKind.OPENED])
    assert [also.matter for also in incident.finding.also] == [Matter.SLOW_MEMBER]


def test_two_causes_are_two_incidents() -> None:
    other = finding(cause=Cause(stable_id="wwn-fir", name="sde"))
    book, _ = follow((0, look(finding(), other)))
    assert len(book.open) == 2


def test_severity_up_is_worse_down_is_better_and_news_of_equal_weight_is_a_change() -> None:
    _, changes = follow(
        (0, look(finding())),
        (1, look(finding(severity=Severity.CRITICAL))),
        (2, look(finding(severity=Severity.MAJOR))),
        (3, look(finding(severity=Severity.MAJOR, signature="other"))),
    )
    assert kinds(changes) == [
        ChangeKind.OPENED,
        ChangeKind.WORSENED,
        ChangeKind.EASED,
        ChangeKind.CHANGED,
    ]


def test_it_closes_when_it_was_looked_for_in_vain_twice_and_for_two_seconds() -> None:
    book, changes = follow((0, look(finding())), (1, look()), (2, look()))
    assert book.open, "one second in vain is not two"
    book, changes = follow((0, look(finding())), (1, look()), (3.5, look()))
    assert kinds(changes) == [ChangeKind.OPENED, ChangeKind.CLOSED]
    assert book.open == ()


def test_what_looks_over_is_in_doubt_until_it_is_looked_for_once_more() -> None:
    less = finding(Matter.LESS_REDUNDANCY)
    doubts = [
        follow(*looks)[0].in_doubt(Origin.STATE)
        for looks in (
            [(0.0, look(less))],
            [(0.0, look(less)), (1.0, look())],
            [(0.0, look(less)), (1.0, look()), (4.0, look())],
            [(0.0, look(less)), (1.0, look()), (2.0, look(less))],
        )
    ]
    assert doubts == [False, True, False, False]


def test_an_arrays_greater_loss_takes_the_place_of_its_smaller_one_at_once() -> None:
    less = finding(Matter.LESS_REDUNDANCY)
    none = finding(Matter.NO_REDUNDANCY, Severity.CRITICAL)
    book, told = follow((0.0, look(less)), (0.1, look(none)), (0.2, look(less)))
    assert [change.kind for change in told] == [
        ChangeKind.OPENED,
        ChangeKind.WORSENED,
        ChangeKind.EASED,
    ]
    assert all(change.incident.finding.also == () for change in told)
    assert len(book.claims) == 1


def test_a_drive_that_two_arrays_miss_is_one_incident_that_names_both() -> None:
    first = finding(Matter.LESS_REDUNDANCY)
    second = replace(first, arrays=("md1",))
    book, told = follow((0.0, look(first, second)), (9.0, look(first)), (12.0, look(first)))
    assert [change.kind for change in told] == [ChangeKind.OPENED]
    assert told[0].incident.finding.arrays == ("md0", "md1")
    assert book.open[0].finding.arrays == ("md0",)


def test_one_origin_does_not_speak_for_another() -> None:
    book, _ = follow(
        (0, look(finding(origin=Origin.MEASURED), origin=Origin.MEASURED)),
        (1, look()),
        (9, look()),
    )
    assert len(book.open) == 1


def test_a_pass_speaks_only_for_what_it_measured() -> None:
    found = look(finding(origin=Origin.MEASURED), origin=Origin.MEASURED)
    elsewhere = replace(look(origin=Origin.MEASURED), looked_at=frozenset({"wwn-fir"}))
    there = replace(elsewhere, looked_at=frozenset({ELDER.stable_id}))
    assert follow((0, found), (1, elsewhere), (2, elsewhere))[0].open
    assert not follow((0, found), (1, there), (2, there))[0].open


def test_what_no_longer_exists_has_no_incident_whoever_found_it() -> None:
    found = look(finding(origin=Origin.MEASURED), origin=Origin.MEASURED)
    gone = replace(look(), existing=frozenset({"wwn-fir"}))
    assert not follow((0, found), (1, gone), (9, gone))[0].open


def test_soon_again_is_the_same_incident_and_much_later_another() -> None:
    ended = ((0, look(finding())), (1, look()), (4, look()))
    book, changes = follow(*ended, (5, look(finding())))
    assert (changes[-1].kind, book.open[0].number) == (ChangeKind.REOPENED, 1)
    book, changes = follow(*ended, (5 + REOPEN_WITHIN_SECONDS, look(finding())))
    assert (changes[-1].kind, book.open[0].number) == (ChangeKind.OPENED, 2)


def test_one_that_flaps_is_kept_and_told_once_an_hour() -> None:
    looks = []
    for turn in range(FLAPS_TO_DAMP + 3):
        start = 10.0 * turn
        looks += [(start, look(finding())), (start + 1, look()), (start + 4, look())]
    _, changes = follow(*looks)
    assert len(changes) == 2 * (FLAPS_TO_DAMP + 3)
    assert [change.told for change in changes[: 2 * FLAPS_TO_DAMP]] == [True] * 2 * FLAPS_TO_DAMP
    assert not any(change.told for change in changes[2 * FLAPS_TO_DAMP :])


def test_what_an_earlier_run_left_open_is_believed_until_looked_for_in_vain() -> None:
    before, _ = follow((0, look(finding())))
    book = book_of(before.incidents.values(), before.next_number)
    book, changes = advance(book, look(finding()), 1)
    assert changes == ()
    for moment in (2, 5):
        book, changes = advance(book, look(), moment)
    assert kinds(list(changes)) == [ChangeKind.CLOSED]


def state(machine_array: Array, *, served_before: Array | None = None) -> list[Finding]:
    """What the kernel's words show, after a look at how it was before."""
    drives = [drive(name) for name in ("sda", "sdb", "sdc", "sdd")]
    serving = Serving()
    if served_before is not None:
        _, serving = observe_state(host([served_before], drives), serving)
    return list(observe_state(host([machine_array], drives), serving)[0].findings)


WHOLE = array(Level.RAID5, [member(f"sd{letter}", slot) for slot, letter in enumerate("abc")])
LOST = array(Level.RAID5, [member("sda", 0), member("sdb", 1), member("sdc", **FAILED)])
REMOVED = array(Level.RAID5, [member("sda", 0), member("sdb", 1)], raid_disks=3)


def test_a_whole_array_at_rest_is_no_finding() -> None:
    assert state(WHOLE) == []


@pytest.mark.parametrize("degraded", [LOST, REMOVED])
def test_a_lost_member_is_named_by_its_drive_even_when_md_has_let_go_of_it(
    degraded: Array,
) -> None:
    [found] = state(replace(degraded, raid_disks=3), served_before=WHOLE)
    assert (found.matter, found.cause.name) == (Matter.NO_REDUNDANCY, "sdc")
    assert found.severity is Severity.CRITICAL


def test_a_failed_drive_whose_slot_another_took_is_not_missed_any_more() -> None:
    """md lists it as failed until somebody removes it. Found by the fault campaign."""
    replaced = [member("sda", 0), member("sdb", **FAILED), member("sdd", 1)]
    wide = [member(f"sd{letter}", slot) for slot, letter in enumerate("abc")]
    before = array(Level.RAID1, wide, chunk_bytes=None)
    after = array(Level.RAID1, replaced, raid_disks=3, chunk_bytes=None)
    [found] = state(after, served_before=before)
    assert (found.matter, found.cause.name) == (Matter.LESS_REDUNDANCY, "sdc")


def test_failed_drives_are_named_by_md_where_nobody_saw_them_serve() -> None:
    [found] = state(replace(LOST, raid_disks=3))
    assert found.cause.name == "sdc"


def test_a_rebuild_makes_it_less_severe() -> None:
    spare = member("sdc", 2, states=(MemberState.SPARE,))
    rebuilding = replace(
        LOST, members=(*LOST.members[:2], spare), sync_action=SyncAction.RECOVER, raid_disks=3
    )
    [found] = state(rebuilding, served_before=WHOLE)
    assert (found.matter, found.severity) == (Matter.NO_REDUNDANCY, Severity.MAJOR)


def test_a_scrub_is_information() -> None:
    [found] = state(replace(WHOLE, sync_action=SyncAction.CHECK))
    assert (found.matter, found.severity) == (Matter.SYNCHRONISING, Severity.INFORMATION)


def test_the_worst_of_one_cause_comes_first_whatever_the_order() -> None:
    low, high = finding(), finding(Matter.LESS_REDUNDANCY, Severity.MAJOR)
    assert by_cause([low, high]) == by_cause([high, low])
