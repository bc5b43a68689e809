"""Footage in words: always in Mb/s and MB/s, and what a broken promise means."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from fractions import Fraction

import pytest
from rich.console import Console

from arraygauge.inventory.values import Array, Host, Level
from arraygauge.judge import Grounds, Status
from arraygauge.judge.findings import Cause, Finding, Matter, Origin, Severity
from arraygauge.judge.footage_values import Basis, Holding, Promise
from arraygauge.judge.footage_watch import BrokenPromise, FootageFacts
from arraygauge.judge.incidents import Change, ChangeKind, Incident
from arraygauge.service.survey import judged
from arraygauge.service.targets import choose_targets
from arraygauge.tell.footage import both_rates, streams_words
from arraygauge.tell.footage_lists import catalogue_json
from arraygauge.tell.footage_terminal import print_carried, print_catalogue, print_need
from arraygauge.tell.incident_json import words_for
from arraygauge.tell.incident_words import IncidentWords, change_words
from arraygauge.tell.machine import carried_json, need_json, status_json
from arraygauge.tell.metrics import StatusCollector
from arraygauge.tell.page.inputs import Known
from arraygauge.tell.page.overview import card_of
from arraygauge.tell.terminal import print_status
from arraygauge.theory.conditions import Condition
from arraygauge.theory.footage import CODECS, find_codec, parse_raster, stream_of
from invented import FAILED, array, drive, host, measured, member

NAMES = ("sda", "sdb", "sdc")


def promise(streams: int | None = 4, headroom: Fraction = Fraction(3, 10)) -> Promise:
    stream = stream_of(find_codec("ProRes HQ", CODECS), parse_raster("UHD"), Fraction(25))
    return Promise(name="interview", stream=stream, streams=streams, headroom=headroom)


def raid(level: Level = Level.RAID5) -> Array:
    return array(level, [member(name, slot) for slot, name in enumerate(NAMES)], raid_disks=3)


def status(held: Array, own: float, *asked: Promise, rotational: bool = False) -> Status:
    seen = host([held], [drive(name, rotational=rotational) for name in NAMES])
    attempts = {name: measured(name, 500e6) for name in NAMES} | {"md0": measured("md0", own)}
    grounds = Grounds(footage={"md0": asked})
    return judged(seen, choose_targets(seen, ()), attempts, grounds)


def printed(found: Status) -> str:
    console = Console(file=io.StringIO(), width=100)
    print_status(console, found)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


@pytest.mark.parametrize(
    ("bits", "words"),
    [
        (Fraction(737_000_000), "737 Mb/s (92.1 MB/s)"),
        (917504 * 8 * Fraction(25), "183.501 Mb/s (22.9 MB/s)"),
        (Fraction(873_049_510), "873.05 Mb/s (109 MB/s)"),
        (Fraction(10_606_226_000), "10606.23 Mb/s (1326 MB/s)"),
    ],
)
def test_rates_are_told_in_bits_and_in_bytes(bits: Fraction, words: str) -> None:
    assert both_rates(bits) == words


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "no stream"), (1, "1 stream"), (4, "4 streams"), (256, "256 or more streams")],
)
def test_streams_are_counted_in_words(count: int, words: str) -> None:
    assert streams_words(count) == words


def test_check_says_whether_it_holds_and_what_a_loss_would_leave() -> None:
    text = printed(status(raid(), 1500e6, promise(4)))
    assert "4 streams of interview hold: it carries " in text
    assert "(measured)" in text
    assert "degraded " in text
    assert "rebuilding " in text
    assert "with 30 % left free" in text


def test_a_level_without_redundancy_carries_none_after_a_loss() -> None:
    assert "none once a member is lost" in printed(status(raid(Level.RAID0), 1500e6, promise(1)))


def test_a_promise_of_one_stream_is_in_the_singular() -> None:
    assert "1 stream of interview holds: it carries" in printed(status(raid(), 1500e6, promise(1)))


def test_the_document_of_check_has_every_condition() -> None:
    document = json.loads(status_json(status(raid(), 1500e6, promise(4))))
    [footage] = document["arrays"][0]["footage"]
    assert footage["holding"] == "holds"
    assert footage["stream"]["bits_per_second"] == 737e6
    assert footage["needed_bytes_per_second"] == pytest.approx(4 * 737e6 / 8 / 0.7)
    assert [each["condition"] for each in footage["carried"]] == list(Condition)
    assert [each["now"] for each in footage["carried"]] == [True, False, False]


def test_the_documents_of_the_command_are_of_one_format() -> None:
    carried = json.loads(carried_json(status(raid(), 1500e6, promise(4)).arrays[0]))
    need, catalogue = json.loads(need_json(promise(4))), json.loads(catalogue_json())
    assert {each["format"] for each in (carried, need, catalogue)} == {"arraygauge.footage/1"}
    assert need["footage"][0]["bytes_per_second"] == 4 * 737e6 / 8
    assert len(catalogue["codecs"]) == len(CODECS)
    assert all(row["source"] for codec in catalogue["codecs"] for row in codec["rows"])


def test_the_command_prints_what_is_needed_and_what_is_carried() -> None:
    console = Console(file=io.StringIO(), width=100)
    found = status(raid(), 1200e6, promise(4), rotational=True)
    print_need(console, promise(4))
    print_carried(console, found.arrays[0])
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    assert "2948 Mb/s (368 MB/s)" in text
    assert "4211.43 Mb/s (526 MB/s) of the array, with 30 % left free" in text
    assert "from memory; real files run 5 to 10 % below" in text
    assert "healthy, now" in text
    assert "12 ms" in text, "hard disks are taken to need it"
    assert max(map(len, text.splitlines())) <= 100


def test_the_catalogue_fits_a_hundred_columns_and_explains_its_letters() -> None:
    console = Console(file=io.StringIO(), width=100)
    print_catalogue(console)
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    lines = [line.rstrip() for line in text.splitlines()]
    for codec in CODECS:
        assert any(line.startswith(codec.name) for line in lines)
    [letter] = {line.split()[-1] for line in lines if line.startswith("DV25")}
    assert any(line.strip().startswith(f"{letter}  IEC 61834") for line in lines)
    assert "183.501" in text
    assert "1.485 Gb/s" in text


def footage_on_card(seen: Host, found: Status) -> str:
    card = card_of(Known(machine="invented", host=seen, status=found), seen.arrays[0])
    [fact] = [each for each in card.facts if each.term == "Footage"]
    return fact.words


def test_a_card_tells_the_promise_by_what_the_latest_look_shows() -> None:
    found = status(raid(), 1500e6, promise(10, Fraction(0)))
    lost = replace(
        raid(),
        degraded=1,
        members=tuple(
            replace(each, **FAILED) if each.name == "sdb" else each for each in raid().members
        ),
    )
    later = host([lost], [drive(name) for name in NAMES])
    before, after = (footage_on_card(seen, found) for seen in (found.host, later))
    assert before.startswith("10 streams of interview hold: ")
    assert "Degraded " in before
    assert after.startswith("10 streams of interview may hold: it carries 7 to 10 streams (pred")
    assert "Healthy " in after


def test_metrics_have_what_is_promised_and_what_is_carried() -> None:
    collector = StatusCollector()
    collector.publish(status(raid(), 1500e6, promise(4), replace(promise(None), name="other")))
    samples = {
        (sample.name, *sample.labels): sample.number
        for found in collector.families().values()
        for sample in found
        if "footage" in sample.name
    }
    assert samples["array_footage_promised_streams", "invented-md0", "interview"] == 4
    assert samples["array_footage_carried_streams", "invented-md0", "interview"] >= 4
    assert ("array_footage_promised_streams", "invented-md0", "other") not in samples
    assert ("array_footage_carried_streams", "invented-md0", "other") in samples


def broken(**changes: object) -> BrokenPromise:
    plain = BrokenPromise(
        footage="interview",
        streams=4,
        headroom_share=0.3,
        carried=2,
        bare_streams=3,
        needed_bytes_per_second=526e6,
        given_bytes_per_second=300e6,
        condition=Condition.HEALTHY,
        basis=Basis.MEASURED,
        holding=Holding.FAILS,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def finding(*promises: BrokenPromise) -> Finding:
    return Finding(
        origin=Origin.FOOTAGE,
        cause=Cause(stable_id="invented-md0", name="md0"),
        matter=Matter.FOOTAGE,
        severity=Severity.MAJOR,
        arrays=("md0",),
        signature="",
        facts=FootageFacts(array_name="md0", broken=promises),
    )


def told(found: Finding) -> IncidentWords:
    incident = Incident(
        number=1, finding=found, worst=found.severity, opened=0.0, seen=0.0, told=0.0
    )
    change = Change(kind=ChangeKind.OPENED, incident=incident, moment=0.0)
    assert json.loads(words_for("invented", lambda moment: moment, change).document)
    return change_words(change, lambda moment: moment)


def test_a_promise_alone_is_told_with_its_figures() -> None:
    words = told(finding(broken()))
    assert words.headline == "md0 carries 2 of the promised 4 streams of interview"
    assert words.reason == (
        "4 streams of interview need 4208 Mb/s (526 MB/s) with 30 % left free, and the array gives "
        "2400 Mb/s (300 MB/s)."
    )
    assert words.meaning.endswith(
        "The promised 4 streams of interview no longer hold: 2 are carried with 30 % left free "
        "(3 without)."
    )
    assert "arraygauge footage md0" in words.text


def test_another_cause_says_what_becomes_of_the_promise_and_not_twice() -> None:
    slow = Finding(
        origin=Origin.MEASURED,
        cause=Cause(stable_id="invented-sdb", name="sdb"),
        matter=Matter.SLOW_MEMBER,
        severity=Severity.MAJOR,
        arrays=("md0",),
        signature="",
        facts=None,
        also=(finding(broken(headroom_share=0.0)),),
    )
    words = told(slow)
    assert words.headline == "sdb is slower than its peers in md0"
    assert "The promised 4 streams of interview no longer hold: 2 are carried." in words.meaning
    assert "Also" not in words.reason
    assert words.text.count("interview") == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"condition": Condition.DEGRADED, "carried": 1, "bare_streams": 1},
            (
                "The promised 4 streams of interview no longer hold: 1 is carried with 30 % left "
                "free, as it is degraded."
            ),
        ),
        (
            {"condition": Condition.REBUILDING, "carried": 0, "streams": 1, "bare_streams": 0},
            (
                "The promised 1 stream of interview no longer holds: none are carried with 30 % "
                "left free, as it is rebuilding."
            ),
        ),
        (
            {"holding": Holding.TIGHT, "bare_streams": 4},
            (
                "md0 still carries the promised 4 streams of interview, but not with 30 % left "
                "free: 2 so."
            ),
        ),
    ],
)
def test_each_way_a_promise_breaks_has_its_sentence(
    changes: dict[str, object], sentence: str
) -> None:
    assert sentence in told(finding(broken(**changes))).meaning


def test_several_promises_are_all_told() -> None:
    words = told(finding(broken(), broken(footage="wide")))
    assert words.headline.endswith("interview, and 1 more")
    assert "streams of wide no longer hold" in words.meaning


def test_what_is_only_expected_is_not_called_given() -> None:
    words = told(finding(broken(basis=Basis.PREDICTED)))
    assert "the array is expected to give at most 2400 Mb/s" in words.reason
