"""What the passive watch found, in words and for programs."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from rich.console import Console

from arraygauge.history.stalls import StallRecord
from arraygauge.judge.findings import Cause, Finding, Matter, Origin, Severity
from arraygauge.judge.incidents import Change, ChangeKind, Incident
from arraygauge.judge.passive import (
    HangFacts,
    PathFacts,
    SlowFacts,
    Unjudgeable,
    Unjudged,
)
from arraygauge.tell.cautions import BY_SERIAL, POWER
from arraygauge.tell.incident_json import incidents_json, words_for
from arraygauge.tell.incident_words import IncidentWords, change_words
from arraygauge.tell.passive_json import watching_document
from arraygauge.tell.stall_list import print_stalls, stalls_document
from unit.judge.test_passive_findings import machine, slow, stalled, watched


def change(matter: Matter, facts: object, kind: ChangeKind = ChangeKind.OPENED) -> Change:
    finding = Finding(
        origin=Origin.PASSIVE,
        cause=Cause(stable_id="invented-sdb", name="sdb"),
        matter=matter,
        severity=Severity.MAJOR,
        arrays=("md0",),
        signature="",
        facts=facts,
    )
    made = Incident(number=1, finding=finding, worst=Severity.MAJOR, opened=0, seen=0, told=0)
    return Change(kind=kind, incident=made, moment=0.0)


def words(matter: Matter, facts: object, kind: ChangeKind = ChangeKind.OPENED) -> IncidentWords:
    return change_words(change(matter, facts, kind), lambda moment: 1.8e9 + moment)


def hang(**changes: Any) -> HangFacts:
    plain: dict[str, Any] = {
        "name": "sdb",
        "drives": ("sdb",),
        "seconds": 3.02,
        "error_seconds": 0.25,
        "in_flight": 3,
        "frames": 75.5,
        "frames_per_second": 25.0,
        "rested_seconds": 0.0,
        "may_spin_up": False,
        "over": False,
    }
    return HangFacts(**{**plain, **changes})


def test_a_hang_is_told_with_who_waits_and_for_how_long() -> None:
    told = words(Matter.DEVICE_HANGS, hang())
    assert told.headline == "sdb does not answer"
    assert told.reason == (
        "3 requests wait on sdb and none has been completed for 3.0 s (± 250 ms) by now."
    )
    assert BY_SERIAL in told.cautions


def test_a_hang_that_is_over_is_told_in_milliseconds_and_frames() -> None:
    facts = hang(over=True, seconds=12.34, frames=308.5, error_seconds=0.13)
    told = words(Matter.DEVICE_HANGS, facts, ChangeKind.EASED)
    assert told.headline == "Eased: sdb answers again, after 12.3 s"
    assert "12340 ms (± 130 ms), or 308 frames at 25 a second" in told.reason


def test_a_hang_of_what_drives_share_names_them_and_blames_none() -> None:
    told = words(Matter.DEVICE_HANGS, hang(name="expander-0:1", drives=("sda", "sdb")))
    assert told.reason.startswith("3 requests wait on sda, sdb, which share expander-0:1, and none")


def test_that_a_drive_may_only_have_been_starting_is_said() -> None:
    told = words(Matter.DEVICE_HANGS, hang(may_spin_up=True, rested_seconds=1200.0))
    assert "It had done nothing for 20 min" in told.reason
    assert "only have been its start" in told.reason


def test_a_slow_member_is_told_beside_its_peers() -> None:
    facts = SlowFacts(
        name="sdb", array_name="md0", ratio=2.04, peers=("sda", "sdc", "sdd"), even=True
    )
    told = words(Matter.SLOW_MEMBER, facts)
    assert told.reason.startswith(
        "sdb takes 2.0 times as long as its 3 peers in md0 for the same work"
    )
    assert "nothing was sent to a drive" in told.reason


def test_a_path_is_told_by_what_it_is_and_no_drive_is_blamed() -> None:
    facts = PathFacts(
        link_name="expander-0:1",
        array_name="md0",
        members=("sda", "sdb"),
        ratio=1.9,
        by_past=False,
    )
    told = words(Matter.SLOW_PATH, facts)
    assert "sda, sdb in md0 share expander-0:1, and take 1.9 times as long" in told.reason
    assert "changing a drive would not help" in told.meaning
    assert POWER in told.cautions


def test_all_slower_than_they_were_is_told_as_that() -> None:
    facts = PathFacts(
        link_name=None, array_name="md0", members=("sda", "sdb"), ratio=1.9, by_past=True
    )
    assert "as they did with such a load" in words(Matter.SLOW_PATH, facts).reason


@pytest.mark.parametrize("facts", [hang(), hang(over=True)])
def test_its_facts_are_json(facts: HangFacts) -> None:
    made = words_for("invented", lambda moment: moment, change(Matter.DEVICE_HANGS, facts))
    document = json.loads(made.document)
    assert document["facts"]["in_flight"] == 3
    assert document["origin"] == "passive"


def test_what_cannot_be_judged_is_said_with_the_reason_and_is_no_incident() -> None:
    on = machine()
    idle = Unjudged(name="sdc", reason=Unjudgeable.TOO_LITTLE)
    seen = stalled(watched(on, slow("sdb"), idle), "sdd", hang=False)
    document = json.loads(incidents_json((), (), "invented", watching_document(seen)))
    assert document["incidents"] == []
    [array] = document["watching"]
    assert {each["name"]: each["seen"] for each in array["members"]} == {
        "sda": "like its peers",
        "sdb": "alarmed: 2.1 times as long as its peers",
        "sdc": "not judged: too little I/O",
        "sdd": "like its peers",
    }
    assert array["stalled"] == [{"name": "sdd", "milliseconds": 4000, "hang": False}]


def test_without_a_running_agent_nothing_is_said_of_watching() -> None:
    assert "watching" not in json.loads(incidents_json((), (), "invented"))


STALL = StallRecord(
    stable_id="invented-sdb",
    name="sdb",
    began_at_seconds=1.8e9,
    milliseconds=800,
    error_milliseconds=125,
    in_flight=2,
    hang=False,
    frames_per_second=25.0,
)


def test_stalls_are_listed_in_milliseconds_and_frames() -> None:
    console = Console(file=StringIO(), width=100)
    print_stalls(console, [STALL])
    assert isinstance(console.file, StringIO)
    shown = console.file.getvalue()
    assert "800 ms ± 125" in shown
    assert "20 frames at 25 a second" in shown
    [document] = stalls_document([STALL])
    assert (document["milliseconds"], document["frames"]) == (800, 20.0)


def test_no_stalls_are_not_listed() -> None:
    console = Console(file=StringIO())
    print_stalls(console, [])
    assert isinstance(console.file, StringIO)
    assert console.file.getvalue() == ""
