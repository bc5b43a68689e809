"""The demo: an invented workstation whose story goes through the real judge and history."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest

from arraygauge.errors import OperatorError
from arraygauge.history.incident_log import LoggedIncident
from arraygauge.inventory.values import DeviceKind
from arraygauge.judge import Pace, Protection
from arraygauge.judge.findings import Severity
from arraygauge.probe.stop import StopToken
from arraygauge.service.demo.clock import BEGINS_SECONDS, DAY_SECONDS
from arraygauge.service.demo.folder import MARK_NAME, demo_history
from arraygauge.service.demo.machine import HOST_NAME
from arraygauge.tell.incident_words import SEVERITY_WORDS
from unit.service.demo_scene import Lived, lived


def day_of(seconds: float) -> float:
    return (seconds - BEGINS_SECONDS) / DAY_SECONDS


def kinds(incident: LoggedIncident) -> list[tuple[str, Severity]]:
    return [(each.kind, each.severity) for each in incident.changes]


def words_of(incident: LoggedIncident) -> str:
    return json.dumps(json.loads(incident.document)["words"])


@pytest.fixture(scope="module")
def slow_summer(tmp_path_factory: pytest.TempPathFactory) -> Lived:
    """What is usual is learned for 112 days; then sdg slows until it is cleaned on day 240."""
    return lived(tmp_path_factory.mktemp("summer"), 80.0, 250.0)


@pytest.fixture(scope="module")
def loss(tmp_path_factory: pytest.TempPathFactory) -> Lived:
    return lived(tmp_path_factory.mktemp("loss"), 119.0, 123.5)


def test_weeks_of_quiet_tell_nothing(tmp_path: Path) -> None:
    quiet = lived(tmp_path, 0.0, 30.0)
    assert quiet.incidents == ()
    assert {each.pace for each in quiet.status.arrays} == {Pace.AS_EXPECTED}


def test_the_uplink_is_the_wall_of_the_fast_array(tmp_path: Path) -> None:
    [fast, *_] = lived(tmp_path, 0.0, 2.0).status.arrays
    assert fast.expectation is not None
    assert fast.expectation.bottleneck.name.startswith("chipset uplink")


def test_a_lost_drive_is_one_incident_from_loss_over_rebuild_to_its_end(loss: Lived) -> None:
    [incident] = loss.incidents
    assert incident.cause_name == "sdd"
    assert incident.arrays == ("md1",)
    assert kinds(incident) == [
        ("opened", Severity.CRITICAL),
        ("eased", Severity.MAJOR),
        ("closed", Severity.MAJOR),
    ]
    assert [round(day_of(each.at_seconds), 2) for each in incident.changes] == [
        120.61,
        121.42,
        122.35,
    ]


def test_while_it_is_filled_the_incident_says_so(tmp_path: Path) -> None:
    [incident] = lived(tmp_path, 119.0, 122.0).incidents
    assert incident.closed_at_seconds is None
    assert "It rebuilds onto sdd" in words_of(incident)


def test_a_degraded_array_is_left_alone_and_measured_again_when_it_is_whole(loss: Lived) -> None:
    outcomes = {each.outcome for each in loss.records["md1"]}
    assert {"completed", "no redundancy left", "sync running"} <= outcomes
    by_name = {each.array.name: each for each in loss.status.arrays}
    assert by_name["md1"].health.protection is Protection.WHOLE
    assert by_name["md1"].pace is Pace.AS_EXPECTED


def test_the_drive_that_takes_its_place_is_another(loss: Lived) -> None:
    [now] = [each for each in loss.status.host.devices if each.name == "sdd"]
    [incident] = loss.incidents
    assert now.stable_id != incident.cause_id


def test_a_link_that_comes_up_low_is_told_as_such_and_its_array_is_not(tmp_path: Path) -> None:
    week = lived(tmp_path, 69.0, 77.0)
    [incident] = week.incidents
    assert (incident.cause_name, incident.matter) == ("nvme2n1", "link trained low")
    assert incident.closed_at_seconds is not None
    assert all(each.pace == "as expected" for each in week.records["md0"])


def test_a_freeze_is_told_with_its_length_and_its_end(tmp_path: Path) -> None:
    [incident] = lived(tmp_path, 160.0, 161.0).incidents
    assert incident.cause_name == "sdh"
    headlines = [each.headline for each in incident.changes]
    assert headlines[0] == "sdh does not answer"
    assert "answers again, after 8.4 s" in headlines[-1]
    began = incident.changes[0].at_seconds
    assert 0 < began - (BEGINS_SECONDS + 160.65 * DAY_SECONDS) <= 3.0


def test_a_slow_member_is_named_in_one_incident_that_ends_when_it_is_mended(
    slow_summer: Lived,
) -> None:
    incidents = [each for each in slow_summer.incidents if each.opened_at_seconds > day(190)]
    [incident] = incidents
    assert (incident.cause_name, incident.arrays) == ("sdg", ("md2",))
    assert incident.worst is Severity.MAJOR
    assert 200 < day_of(incident.opened_at_seconds) < 215
    assert any("slower than its peers in md2" in each.headline for each in incident.changes)
    closed = incident.closed_at_seconds
    assert closed is not None
    assert 240.4 < day_of(closed) < 250


def day(number: float) -> float:
    return BEGINS_SECONDS + number * DAY_SECONDS


def test_a_drive_that_slows_and_then_drops_out_is_one_incident_to_its_end(tmp_path: Path) -> None:
    winter = lived(tmp_path, 215.0, 391.0)
    [incident] = [each for each in winter.incidents if each.cause_name == "sdc"]
    severities = [each.severity for each in incident.changes]
    assert severities[0] is Severity.MINOR
    assert severities.index(Severity.MAJOR) < severities.index(Severity.CRITICAL)
    assert incident.changes[-1].kind == "closed"
    lost = next(each for each in incident.changes if each.severity is Severity.CRITICAL)
    assert day_of(lost.at_seconds) == pytest.approx(385.6, abs=0.01)


def test_incidents_come_in_the_order_of_the_story(slow_summer: Lived) -> None:
    assert slow_summer.causes == ["sdd", "sdh", "sdg"]


def test_all_that_is_kept_is_told_once_and_in_order(slow_summer: Lived) -> None:
    kept = [each for incident in slow_summer.incidents for each in incident.changes]
    assert list(slow_summer.heard) == sorted(kept, key=lambda each: each.at_seconds)
    assert all(each.severity in SEVERITY_WORDS for each in slow_summer.heard)


def test_the_same_seed_tells_the_same_and_another_does_not(tmp_path: Path) -> None:
    for name in ("one", "two", "three"):
        (tmp_path / name).mkdir()
    one = lived(tmp_path / "one", 119.0, 123.0, seed=7)
    two = lived(tmp_path / "two", 119.0, 123.0, seed=7)
    other = lived(tmp_path / "three", 119.0, 123.0, seed=8)
    assert (one.records, one.heard) == (two.records, two.heard)
    assert one.records != other.records
    assert one.heard == other.heard


def test_everything_says_that_it_is_simulated(loss: Lived) -> None:
    assert loss.status.host.name == HOST_NAME
    assert "simulated" in HOST_NAME
    assert [labels[0].split()[-1] for labels in loss.metrics["build"]] == ["simulated"]
    documents = [json.loads(each.document) for each in loss.incidents]
    assert {each["host"] for each in documents} == {HOST_NAME}
    drives = [each for each in loss.status.host.devices if each.kind is DeviceKind.DRIVE]
    assert len(drives) == 13
    assert all("Invented" in str(each.model) for each in drives)
    assert all("INVENTED" in str(each.serial) for each in drives)


def test_passes_are_counted_against_the_budget(loss: Lived) -> None:
    devices = {labels[0] for labels in loss.metrics["device_budget_left_ratio"]}
    assert {each.device.stable_id for each in loss.status.devices} <= devices


def test_once_a_week_an_own_file_is_written_and_kept_apart_from_reads(tmp_path: Path) -> None:
    records = lived(tmp_path, 0.0, 22.0).records["md2"]
    written = [each for each in records if each.workload.startswith("write-")]
    apart = [day_of(each.started_at_seconds) for each in written]
    assert len(written) == 4 - 1
    assert all(7 <= later - before < 8 for before, later in pairwise(apart))


def test_told_to_stop_it_stops_at_once(tmp_path: Path) -> None:
    scene = lived(tmp_path, 0.0, 1.0)
    stop = StopToken()
    stop.set()
    before = scene.agent.clock.day
    scene.agent.live_until(400.0, stop)
    assert scene.agent.clock.day == before


def test_its_history_is_marked_and_gone_in_the_end() -> None:
    with demo_history(None) as history:
        assert history.path is not None
        folder = history.path.parent
        assert (folder / MARK_NAME).read_text().startswith("SIMULATED")
    assert not folder.exists()


def test_it_is_kept_only_where_nothing_else_lies(tmp_path: Path) -> None:
    with demo_history(tmp_path / "new"):
        pass
    assert (tmp_path / "new" / MARK_NAME).exists()
    with pytest.raises(OperatorError, match="not empty"), demo_history(tmp_path / "new"):
        pass
