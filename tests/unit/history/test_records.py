"""Incidents kept: the book comes back as it was, with a message for each channel that wants it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.history import (
    Channel,
    History,
    InventoryChange,
    Ledger,
    Outbox,
    Pen,
    Records,
    Sent,
    open_history,
)
from arraygauge.history.dates import epoch_of
from arraygauge.history.incident_log import logged_incident, logged_incidents
from arraygauge.history.incident_rows import Entry, write_entry
from arraygauge.history.moment import Moment
from arraygauge.judge.findings import Matter, Origin, Severity
from arraygauge.judge.incidents import ChangeKind, IncidentBook, advance
from unit.history.conftest import InventedClock
from unit.history.troubles import finding, looked, moment, opened, words

WEBHOOK = Channel(name="webhook")
JOURNAL = Channel(name="journal", least_severity=Severity.INFORMATION)


@pytest.fixture
def pen(history: History) -> Pen:
    return Pen(history)


@pytest.fixture
def outbox(pen: Pen) -> Outbox:
    return Outbox(pen)


@pytest.fixture
def records(pen: Pen, outbox: Outbox) -> Records:
    return Records(pen, outbox)


def test_a_new_history_has_an_empty_book(records: Records) -> None:
    book = records.book(moment(10))
    assert book == IncidentBook(next_number=1)


def test_an_open_incident_comes_back_whole_but_for_its_facts(records: Records) -> None:
    slow = finding(matter=Matter.SLOW_MEMBER, severity=Severity.MINOR, origin=Origin.MEASURED)
    book, changes = opened(IncidentBook(), 100.0, finding(), slow)
    assert records.record(changes, words, [WEBHOOK], moment(100))
    again = records.book(moment(160))
    assert again.incidents == book.incidents
    assert again.next_number == 2
    assert {key[0] for key in again.claims} == {Origin.STATE, Origin.MEASURED}


def test_the_same_trouble_after_a_restart_is_no_new_incident(records: Records) -> None:
    _, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [WEBHOOK], moment(100))
    _, more = opened(records.book(moment(200)), 200.0)
    assert more == ()


def test_trouble_that_is_over_after_a_restart_is_closed_under_its_number(
    records: Records, history: History
) -> None:
    _, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [WEBHOOK], moment(100))
    book = records.book(moment(200))
    for at in (200.0, 203.0):
        book, changes = advance(book, looked(), at)
    [change] = changes
    assert (change.kind, change.incident.number) == (ChangeKind.CLOSED, 1)
    records.record(changes, words, [WEBHOOK], moment(203))
    [kept] = logged_incidents(history, 10)
    assert kept.closed_at_seconds == moment(203).wall_seconds
    assert kept.opened_at_seconds == moment(100).wall_seconds
    assert [each.kind for each in kept.changes] == ["opened", "closed"]


def test_after_a_reboot_moments_are_as_long_ago_as_they_were(records: Records) -> None:
    _, changes = opened(IncidentBook(), 5000.0)
    records.record(changes, words, [], moment(5000))
    later = Moment(
        wall_seconds=moment(5000).wall_seconds + 300, uptime_seconds=20, boot_id="the next"
    )
    [incident] = records.book(later).incidents.values()
    assert incident.opened == pytest.approx(20 - 300)


def test_a_clock_that_was_set_changes_no_moment_of_the_same_boot(records: Records) -> None:
    _, changes = opened(IncidentBook(), 5000.0)
    records.record(changes, words, [], moment(5000))
    [incident] = records.book(moment(5060, wall=0.0)).incidents.values()
    assert incident.opened == pytest.approx(5000.0)


def test_an_incident_closed_long_ago_stays_in_the_log_and_out_of_the_book(
    records: Records, history: History
) -> None:
    book, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [], moment(100))
    for at in (200.0, 203.0):
        book, changes = advance(book, looked(), at)
    records.record(changes, words, [], moment(203))
    assert records.book(moment(300)).incidents
    assert records.book(moment(300 + 8 * 86400)).incidents == {}
    assert records.book(moment(300 + 8 * 86400)).next_number == 2
    assert logged_incident(history, 1) is not None


def test_each_channel_that_wants_it_gets_a_message(records: Records, outbox: Outbox) -> None:
    minor = finding(severity=Severity.MINOR)
    _, changes = opened(IncidentBook(), 100.0, minor)
    major_only = Channel(name="mail", least_severity=Severity.MAJOR)
    records.record(changes, words, [WEBHOOK, JOURNAL, major_only], moment(100))
    lanes = outbox.lanes()
    assert {lane[0].channel for lane in lanes} == {"webhook", "journal"}
    assert json.loads(lanes[0][0].document)["number"] == 1


def test_who_was_told_that_it_was_bad_is_told_that_it_eased(
    records: Records, outbox: Outbox
) -> None:
    major_only = Channel(name="mail", least_severity=Severity.MAJOR)
    book, changes = opened(IncidentBook(), 100.0, finding(severity=Severity.MAJOR))
    records.record(changes, words, [major_only], moment(100))
    book, changes = opened(book, 110.0, finding(severity=Severity.MINOR))
    records.record(changes, words, [major_only], moment(110))
    [lane] = outbox.lanes()
    assert [each.kind for each in lane] == [ChangeKind.OPENED, ChangeKind.EASED]


def test_a_change_that_flapping_keeps_quiet_is_kept_and_not_sent(
    records: Records, outbox: Outbox, history: History
) -> None:
    book, at = IncidentBook(), 0.0
    for _ in range(6):
        for found in ((finding(),), (), ()):
            at += 10.0
            book, changes = advance(book, looked(*found), at)
            records.record(changes, words, [WEBHOOK], moment(at))
    kept = logged_incident(history, 1)
    assert kept is not None
    assert len(kept.changes) == 12
    told = [each for each in kept.changes if each.told]
    [lane] = outbox.lanes()
    assert len(lane) == len(told) < 12


def test_what_was_sent_is_not_sent_again(records: Records, outbox: Outbox, path: Path) -> None:
    _, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [WEBHOOK, JOURNAL], moment(100))
    for lane in outbox.lanes():
        if lane[0].channel == "journal":
            outbox.update(replace(lane[0], outcome=Sent.DELIVERED, attempts=1, tried=moment(101)))
    with open_history(path) as again:
        [lane] = Outbox(Pen(again)).lanes()
    assert lane[0].channel == "webhook"
    assert outbox.was_delivered((1, "journal"))
    assert not outbox.was_delivered((1, "webhook"))


def test_a_change_written_again_changes_nothing(history: History, outbox: Outbox) -> None:
    """A commit whose answer was lost is tried again; meanwhile its message may have gone out."""
    _, changes = opened(IncidentBook(), 100.0)
    entry = Entry(token=5, change=changes[0], words=words(changes[0]), channels=("webhook",))
    sent: list[tuple[int, str]] = []
    for _ in range(2):
        with history.transaction() as connection:
            write_entry(connection, entry, epoch_of(moment(100)))
        sent += [lane[0].key for lane in outbox.lanes()]
        for lane in outbox.lanes():
            outbox.update(replace(lane[0], outcome=Sent.DELIVERED))
    assert sent == [(5, "webhook")]
    [kept] = logged_incidents(history, 10)
    assert len(kept.changes) == 1


def test_an_attempt_is_remembered_over_a_restart(
    records: Records, outbox: Outbox, path: Path
) -> None:
    _, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [WEBHOOK], moment(100))
    [[delivery]] = outbox.lanes()
    tried = replace(
        delivery, attempts=3, tried=moment(120), wait_seconds=8.0, last_error="no answer"
    )
    outbox.update(tried)
    with open_history(path) as again:
        [[kept]] = Outbox(Pen(again)).lanes()
    assert kept == tried
    assert kept.due_in(moment(123)) == pytest.approx(5.0)


def test_a_bug_in_the_words_leaves_nothing_half_written(records: Records, history: History) -> None:
    """The second of two changes cannot be written: the first is not there either."""
    _, changes = opened(IncidentBook(), 100.0, finding("sdc"), finding("sdd"))
    bad = Channel(name=None)  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        records.record(changes, words, [WEBHOOK, bad], moment(100))
    assert logged_incidents(history, 10) == ()
    assert records.record((), words, [], moment(101))


def test_when_an_incident_was_last_seen_can_be_kept_without_a_change(
    records: Records, history: History
) -> None:
    book, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [], moment(100))
    book, _ = opened(book, 900.0)
    records.note_seen(book.open, moment(900))
    [kept] = logged_incidents(history, 10)
    assert kept.seen_at_seconds == moment(900).wall_seconds
    [incident] = records.book(moment(950)).incidents.values()
    assert (incident.opened, incident.seen) == (100.0, 900.0)


def test_inventory_changes_are_kept(records: Records, history: History) -> None:
    records.note_inventory(
        [
            InventoryChange(
                stable_id="invented-a", name="sda", what="name", before="sdb", after="sda"
            )
        ],
        moment(5),
    )
    with history.reading() as connection:
        rows = connection.execute("SELECT name, what, before, after FROM inventory_change")
        assert rows.fetchall() == [("sda", "name", "sdb", "sda")]


def test_the_spending_ledger_s_upkeep_leaves_records_alone(
    records: Records, history: History, clock: InventedClock
) -> None:
    """It forgets boots that no spending refers to."""
    _, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, [WEBHOOK], moment(100))
    ledger = Ledger(history, clock)
    ledger.prune()
    assert ledger.problem is None
    assert records.book(moment(200)).open


def test_old_incidents_are_let_go_but_none_that_is_open_or_to_be_sent(
    pen: Pen, records: Records, outbox: Outbox, history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("arraygauge.history.incident_upkeep.KEPT_DOCUMENTS", 4)
    monkeypatch.setattr("arraygauge.history.incident_upkeep.KEPT_INCIDENTS", 6)
    book, at = IncidentBook(), 0.0
    for name in ("sdx", *"abcdefghij"):
        for found in ((finding(name),), (), ()) if name != "sdx" else ((finding(name),),):
            at += 10.0
            book, changes = advance(book, looked(finding("sdx"), *found), at)
            records.record(changes, words, [WEBHOOK], moment(at))
    for lane in outbox.lanes():
        for each in lane:
            if each.incident != 3:
                outbox.update(replace(each, outcome=Sent.DELIVERED))
    before = outbox.lanes()
    assert records.prune()
    kept = {each.number: each for each in logged_incidents(history, 100)}
    assert sorted(kept) == [1, 3, 6, 7, 8, 9, 10, 11]
    assert kept[1].closed_at_seconds is None
    assert outbox.lanes() == before
    with history.reading() as connection:
        rows = connection.execute("SELECT incident FROM incident_change WHERE document <> ''")
        assert sorted(row[0] for row in rows) == [3, 3, 10, 10, 11, 11]
    assert records.book(moment(at)).next_number == 12
    assert pen.problem is None
