"""Every matter is told with what it means and what to do; the cautions stand where they belong."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from arraygauge.errors import OperatorError
from arraygauge.inventory.values import Level, Link, LinkKind, LinkRate, SyncAction
from arraygauge.judge import Grounds, Status, assess_array, assess_device, peer_references
from arraygauge.judge.findings import Cause, Finding, Matter, Origin, Severity
from arraygauge.judge.incidents import Change, ChangeKind, Incident, IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.state import CountFacts, Serving, observe_state
from arraygauge.probe.values import Outcome
from arraygauge.tell.cautions import BY_SERIAL, COPY_FIRST, NO_BACKUP, NO_WRITES, STOP, UNCLEAN
from arraygauge.tell.incident_json import words_for
from arraygauge.tell.incident_reasons import reason_of
from arraygauge.tell.incident_words import IncidentWords, change_words, headline_of
from invented import FAILED, array, drive, host, measured, member

DATE = 1_800_000_000.0
NAMES = ("sdb", "sdc", "sdd")


def date_of(moment: float) -> float:
    return DATE + moment


def found(matter: Matter = Matter.NO_REDUNDANCY, **changes: Any) -> Finding:
    plain: dict[str, Any] = {
        "origin": Origin.STATE,
        "cause": Cause(stable_id="invented-sdc", name="sdc"),
        "matter": matter,
        "severity": Severity.CRITICAL,
        "arrays": ("md0",),
        "signature": "",
        "facts": None,
    }
    return Finding(**{**plain, **changes})


def incident(finding: Finding, **changes: Any) -> Incident:
    plain = Incident(
        number=7, finding=finding, worst=finding.severity, opened=0.0, seen=60.0, told=0.0
    )
    return replace(plain, **changes)


def told(finding: Finding, kind: ChangeKind = ChangeKind.OPENED, **changes: Any) -> IncidentWords:
    return change_words(
        Change(kind=kind, incident=incident(finding, **changes), moment=60.0), date_of
    )


def state_findings(level: Level, **changes: Any) -> tuple[Finding, ...]:
    whole = array(level, [member(name, slot) for slot, name in enumerate(NAMES)])
    _, serving = observe_state(host([whole]), Serving())
    lost = replace(
        whole,
        members=tuple(
            replace(each, **FAILED) if each.name == "sdc" else each for each in whole.members
        ),
        degraded=1,
        **changes,
    )
    observation, _ = observe_state(host([lost]), serving)
    return observation.findings


@pytest.mark.parametrize("matter", list(Matter))
@pytest.mark.parametrize("arrays", [(), ("md0",), ("md0", "md1")])
def test_every_matter_has_its_words_with_and_without_arrays(
    matter: Matter, arrays: tuple[str, ...]
) -> None:
    words = told(found(matter, arrays=arrays))
    assert "\n" not in words.headline
    assert "{" not in words.text
    assert words.meaning.endswith(".")
    assert words.steps
    assert words.headline in words.text


@pytest.mark.parametrize("matter", list(Matter))
def test_a_cause_that_is_the_array_itself_is_not_missing_from_it(matter: Matter) -> None:
    words = told(found(matter, cause=Cause(stable_id="invented-md0", name="md0")))
    assert "md0 is missing" not in words.text


def test_the_last_redundancy_gone_says_what_to_do_first() -> None:
    [finding] = state_findings(Level.RAID5)
    words = told(finding)
    assert words.headline == "md0: no redundancy left, sdc is missing"
    assert "copy what matters now" in words.meaning
    assert words.reason == "2 of 3 members of md0 (raid5) serve. Nothing rebuilds it."
    assert words.steps[0].startswith("Copy what is nowhere else")
    assert {COPY_FIRST, BY_SERIAL, NO_WRITES} <= set(words.cautions)


def test_more_failures_than_redundancy_says_to_stop() -> None:
    words = told(found(Matter.DATA_INCOMPLETE))
    assert words.cautions[0] == STOP
    assert NO_BACKUP in words.cautions
    assert not any("rebuild" in step for step in words.steps)


def test_a_mirror_is_not_warned_of_parity() -> None:
    for level, warned in ((Level.RAID5, True), (Level.RAID1, False)):
        [worst, *_] = state_findings(level)
        finding = replace(worst, matter=Matter.NO_REDUNDANCY)
        assert (UNCLEAN in told(finding).cautions) is warned


def test_what_the_operator_can_mend_comes_with_its_remedy() -> None:
    facts = OperatorError("/invented/history.sqlite: the disk is full", "free some space there")
    reason = reason_of(found(Matter.AGENT_IMPAIRED, facts=facts))
    assert reason.endswith("the disk is full. Remedy: free some space there.")


def test_a_rebuild_says_how_far_it_is_and_how_long_it_takes() -> None:
    spare = member("sde", 1, states=(), state_text="spare")
    whole = array(Level.RAID5, [member(name, slot) for slot, name in enumerate(NAMES)])
    _, serving = observe_state(host([whole]), Serving())
    rebuilding = replace(
        whole,
        members=(whole.members[0], whole.members[2], spare),
        degraded=1,
        raid_disks=3,
        sync_action=SyncAction.RECOVER,
        sync_done_bytes=25 * 10**9,
        sync_total_bytes=100 * 10**9,
        sync_bytes_per_second=75 * 10**6,
    )
    [finding] = observe_state(host([rebuilding]), serving)[0].findings
    assert reason_of(finding) == (
        "2 of 3 members of md0 (raid5) serve. It rebuilds onto sde: 25% done, "
        "17 min left at 75.0 MB/s."
    )


def test_a_scrub_is_no_fault() -> None:
    whole = array(
        Level.RAID5,
        [member(name, slot) for slot, name in enumerate(NAMES)],
        sync_action=SyncAction.CHECK,
    )
    [finding] = observe_state(host([whole]), Serving())[0].findings
    words = told(finding)
    assert "as it should from time to time" in words.reason
    assert "Its redundancy is whole" in words.meaning
    assert words.cautions == ()


def test_bad_blocks_and_mismatches_say_how_many() -> None:
    bad = CountFacts(array_name="md0", member_name="sdc1", count=2)
    reason = reason_of(found(Matter.BAD_BLOCKS, facts=bad))
    assert reason == "md lists 2 ranges of sdc1 in md0 as unreadable."
    differing = CountFacts(array_name="md0", member_name=None, count=65536)
    reason = reason_of(found(Matter.MISMATCHES, facts=differing))
    assert reason == "The last check of md0 found differences in 65.5 kB of it."


def status(rates: dict[str, float], array_rate: float, **device: Any) -> Status:
    level = array(Level.RAID5, [member(name, slot) for slot, name in enumerate(NAMES)])
    machine = host([level])
    attempts = {name: measured(name, rate) for name, rate in rates.items()}
    attempts["md0"] = measured("md0", array_rate)
    peers = peer_references(machine, attempts)
    return Status(
        host=machine,
        arrays=(assess_array(machine, level, attempts, Grounds()),),
        devices=tuple(
            assess_device(machine, drive(name, **device), attempts[name], peers, Grounds())
            for name in NAMES
        ),
        seconds=1.0,
    )


def test_a_slow_member_is_told_with_its_figures() -> None:
    slow = status({"sdb": 20e6, "sdc": 10e6, "sdd": 20e6}, 20e6)
    [finding] = observe_status(slow).findings
    words = told(finding)
    assert words.headline == "sdc is slower than its peers in md0"
    assert words.reason == (
        "Read 10.0 MB/s ± 0.0 % where 20.0 MB/s is expected. sdc: slower than its peers or rating."
    )


def test_a_member_a_little_slow_is_not_called_as_expected() -> None:
    slow = status({"sdb": 20e6, "sdc": 17.5e6, "sdd": 20e6}, 52.5e6)
    [finding] = observe_status(slow).findings
    assert told(finding).reason == (
        "Read 17.5 MB/s ± 0.0 % where 20.0 MB/s is expected. "
        "Little less than expected, but in pass after pass."
    )


def test_a_slow_array_is_told_with_its_figures() -> None:
    slow = status(dict.fromkeys(NAMES, 20e6), 20e6)
    [finding] = observe_status(slow).findings
    words = told(finding)
    assert words.headline == "md0 is slower than its drives allow"
    assert words.reason.startswith("Read 20.0 MB/s")
    assert "something they share limits them" in words.reason


def test_a_link_that_trained_low_is_named() -> None:
    link = Link(
        link_id="ata3",
        kind=LinkKind.SATA,
        name="ata3",
        negotiated=LinkRate(bits_per_second_per_lane=3 * 10**9, lanes=1),
        maximum=LinkRate(bits_per_second_per_lane=6 * 10**9, lanes=1),
        parent_id=None,
    )
    machine = replace(host([], [drive("sdc", link_ids=("ata3",))]), links=(link,))
    verdict = assess_device(machine, machine.devices[0], measured("sdc", 20e6), {}, Grounds())
    reason = reason_of(found(Matter.LINK_LOW, facts=verdict))
    assert "SATA ata3 trained at 3 Gb/s of 6 Gb/s" in reason


def test_a_drive_that_could_not_be_read_says_what_happened() -> None:
    attempt = replace(
        measured("sdc", 0.0), outcome=Outcome.READ_ERROR, detail="sdc: input/output error"
    )
    machine = host([], [drive("sdc")])
    verdict = assess_device(machine, machine.devices[0], attempt, {}, Grounds())
    assert "error" in reason_of(found(Matter.READ_ERRORS, facts=verdict))


def test_what_has_the_same_cause_is_told_with_it() -> None:
    also = found(Matter.LINK_LOW, severity=Severity.MINOR, origin=Origin.MEASURED)
    words = told(found(also=(also,)))
    assert words.reason == f"Also: {headline_of(also)}."


def test_what_is_over_says_for_how_long_it_was() -> None:
    words = told(found(), ChangeKind.CLOSED, closed=7200.0, reopened=2)
    assert words.headline.startswith("Over: ")
    assert "after 2 h 0 min" in words.seen
    assert "again 2 times" in words.seen
    assert words.steps == words.cautions == ()


def test_the_drive_is_named_by_its_stable_id_beside_its_kernel_name() -> None:
    assert "sdc (invented-sdc)" in told(found()).seen


def test_the_document_is_versioned_json_in_base_units() -> None:
    slow = status({"sdb": 20e6, "sdc": 10e6, "sdd": 20e6}, 20e6)
    book, changes = advance(IncidentBook(), observe_status(slow), 100.0)
    assert len(book.open) == 1
    words = words_for("invented-host", date_of, changes[0])
    document = json.loads(words.document)
    assert document["format"] == "arraygauge.incident/1"
    assert document["change"] == "opened"
    assert document["opened_at_seconds"] == DATE + 100
    assert document["closed_at_seconds"] is None
    assert document["facts"]["rate_bytes_per_second"] == 10e6
    assert document["facts"]["ceiling_bytes_per_second"] == 20e6
    assert document["words"]["headline"] == words.headline


@pytest.mark.parametrize("level", [Level.RAID5, Level.RAID6, Level.RAID1, Level.RAID10])
def test_facts_of_a_loss_are_in_the_document(level: Level) -> None:
    for finding in state_findings(level):
        change = Change(kind=ChangeKind.OPENED, incident=incident(finding), moment=0.0)
        facts = json.loads(words_for("h", date_of, change).document)["facts"]
        assert facts["array_name"] == "md0"
        assert facts["health"]["working"] == 2
