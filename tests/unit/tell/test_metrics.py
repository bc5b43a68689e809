"""Metrics, held to a strict OpenMetrics parser."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Host, Level, Link, LinkKind, LinkRate, SyncAction
from arraygauge.judge.findings import Cause, Finding, Matter, Origin, Severity
from arraygauge.judge.incidents import Incident
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.metrics import BudgetUse, Exposition, StatusCollector
from arraygauge.tell.metrics.families import families
from arraygauge.tell.metrics.values import Sample
from invented import FAILED, array, drive, host, member
from unit.tell.scraped import STRICT, Samples, scrape, status

ARRAY = {"array": "invented-md0"}


def incident(number: int, severity: Severity, *arrays: str) -> Incident:
    finding = Finding(
        origin=Origin.STATE,
        cause=Cause(stable_id=f"invented-{number}", name=f"drive {number}"),
        matter=Matter.SLOW_MEMBER,
        severity=severity,
        arrays=arrays,
        signature="",
        facts=None,
    )
    return Incident(number=number, finding=finding, worst=severity, opened=0.0, seen=0.0, told=0.0)


def published(status_or_host: Host) -> Samples:
    collector = StatusCollector()
    collector.publish_host(status_or_host)
    return scrape(collector)


def test_nothing_is_said_of_arrays_before_the_first_look() -> None:
    samples = scrape(StatusCollector())
    assert samples["arraygauge_passes_total"] == [({}, 0.0)]
    assert not any(name.startswith(("arraygauge_array", "arraygauge_inc")) for name in samples)


def test_failed_passes_are_counted_and_the_latest_status_stands() -> None:
    collector = StatusCollector()
    collector.publish(status())
    collector.note_failure()
    samples = scrape(collector)
    assert samples["arraygauge_pass_failures_total"] == [({}, 1.0)]
    assert "arraygauge_array_pace_info" in samples


def test_rates_their_interval_and_their_date_are_in_base_units() -> None:
    collector = StatusCollector()
    collector.publish(status())
    samples = scrape(collector)
    for name, number in (
        ("read_bytes_per_second", 39e6),
        ("read_low_bytes_per_second", 39e6),
        ("read_high_bytes_per_second", 39e6),
        ("read_floor_bytes_per_second", 40e6),
        ("read_ceiling_bytes_per_second", 40e6),
        ("read_ratio", 0.975),
        ("read_timestamp_seconds", 1.0),
    ):
        assert samples[f"arraygauge_array_{name}"] == [(ARRAY, number)], name
    [(bottleneck, _)] = samples["arraygauge_array_bottleneck_info"]
    assert bottleneck["kind"] == "member"


def test_of_a_state_only_the_present_word_is_a_series() -> None:
    collector = StatusCollector()
    collector.publish(status())
    samples = scrape(collector)
    assert samples["arraygauge_array_pace_info"] == [({**ARRAY, "pace": "as expected"}, 1.0)]
    assert samples["arraygauge_array_protection_info"] == [
        ({**ARRAY, "protection": "none by design"}, 1.0)
    ]


def test_what_was_not_measured_is_absent() -> None:
    collector = StatusCollector()
    skip = Skipped(device="md0", reason=SkipReason.NOT_RUNNING, detail="stopped")
    collector.publish(status(attempt=skip))
    samples = scrape(collector)
    assert "arraygauge_array_read_bytes_per_second" not in samples
    assert "arraygauge_array_read_ratio" not in samples


def test_a_look_between_passes_shows_a_lost_member_at_once() -> None:
    """Health is the latest look's, rates are the latest pass's."""
    collector = StatusCollector()
    collector.publish(status())
    mirror = array(Level.RAID1, [member("vdb", 0), member("vdc", **FAILED)], raid_disks=2)
    later = replace(host([mirror]), taken_at_seconds=5.0)
    collector.publish_host(later)
    samples = scrape(collector)
    assert samples["arraygauge_array_members_working"] == [(ARRAY, 1.0)]
    assert samples["arraygauge_array_members_wanted"] == [(ARRAY, 2.0)]
    assert "arraygauge_array_read_bytes_per_second" in samples
    collector.publish_host(host([]))
    assert "arraygauge_array_info" in scrape(collector), "an older look changes nothing"


def test_a_rebuild_is_told_by_action_share_and_rate_and_only_while_it_lasts() -> None:
    members = [member("vdb", 0), member("vdc", 1)]
    idle = array(Level.RAID1, members)
    busy = replace(
        idle,
        sync_action=SyncAction.RECOVER,
        sync_done_bytes=25,
        sync_total_bytes=100,
        sync_bytes_per_second=7_000_000,
    )
    samples = published(host([busy]))
    assert samples["arraygauge_array_sync_info"] == [({**ARRAY, "action": "recover"}, 1.0)]
    assert samples["arraygauge_array_sync_ratio"] == [(ARRAY, 0.25)]
    assert samples["arraygauge_array_sync_bytes_per_second"] == [(ARRAY, 7e6)]
    assert not any("sync" in name for name in published(host([idle])))


def test_a_link_is_told_as_trained_and_as_it_could_be_by_a_name_that_is_its_own() -> None:
    """SATA at 3 and 6 Gbit/s with 8b/10b carries 300 and 600 MB/s (Serial ATA specification)."""
    slow, fast = (
        LinkRate(bits_per_second_per_lane=gigabits * 10**9, lanes=1) for gigabits in (3, 6)
    )
    links = [
        Link(
            link_id=f"ata{number}/link",
            kind=LinkKind.SATA,
            name="link" if number < 3 else "link3",
            negotiated=slow,
            maximum=fast if number == 3 else None,
            parent_id=None,
        )
        for number in (1, 2, 3)
    ]
    drives = [drive(f"sd{each.link_id[3]}", link_ids=(each.link_id,)) for each in links]
    samples = published(host([], drives, links))
    labels = [each["link"] for each, _ in samples["arraygauge_link_negotiated_bytes_per_second"]]
    assert labels == ["ata1/link", "ata2/link", "link3"]
    assert samples["arraygauge_link_maximum_bytes_per_second"] == [({"link": "link3"}, 600e6)]


def test_incidents_are_counted_and_the_worst_are_named_by_cause_and_array() -> None:
    collector = StatusCollector()
    collector.publish(status())
    collector.publish_incidents([incident(1, Severity.MAJOR, "md0"), incident(2, Severity.MINOR)])
    samples = scrape(collector)
    counts = {labels["severity"]: number for labels, number in samples["arraygauge_incidents_open"]}
    assert counts == {"information": 0, "minor": 1, "major": 1, "critical": 0}
    first, second = (labels for labels, _ in samples["arraygauge_incident_info"])
    assert first == {
        "cause": "invented-1",
        "array": "invented-md0",
        "incident": "1",
        "name": "drive 1",
        "matter": "slow member",
        "severity": "major",
    }
    assert second["array"] == ""


def test_however_many_incidents_there_are_their_series_are_bounded() -> None:
    collector = StatusCollector()
    many = [f"md{number}" for number in range(100)]
    collector.publish_incidents([incident(n, Severity.MAJOR, *many) for n in range(1, 500)])
    samples = scrape(collector)
    assert len(samples["arraygauge_incident_info"]) == 20 * 8
    assert ({"severity": "major"}, 499.0) in samples["arraygauge_incidents_open"]


def test_channels_budget_interval_and_heartbeat_are_what_was_published_last() -> None:
    collector = StatusCollector()
    collector.publish_channels([ChannelState(channel="desk", waiting=3, failures=2, given_up=1)])
    collector.publish_budget([BudgetUse(device_id="a", day_bytes=7, left_ratio=0.25)])
    collector.publish_budget(
        [
            BudgetUse(device_id="a", day_bytes=8, left_ratio=0.5),
            BudgetUse(device_id="b", day_bytes=2, left_ratio=1.0),
        ]
    )
    collector.publish_interval(3600.0)
    collector.note_heartbeat(1e9)
    samples = scrape(collector)
    assert samples["arraygauge_messages_waiting"] == [({"channel": "desk"}, 3.0)]
    assert samples["arraygauge_channel_failures"] == [({"channel": "desk"}, 2.0)]
    assert samples["arraygauge_messages_given_up_total"] == [({"channel": "desk"}, 1.0)]
    assert samples["arraygauge_budget_spent_bytes"] == [({}, 10.0)]
    assert samples["arraygauge_device_budget_left_ratio"] == [
        ({"device": "a"}, 0.5),
        ({"device": "b"}, 1.0),
    ]
    assert samples["arraygauge_pass_interval_seconds"] == [({}, 3600.0)]
    assert samples["arraygauge_heartbeat_timestamp_seconds"] == [({}, 1e9)]


def test_a_name_that_is_not_in_the_table_cannot_be_served() -> None:
    with pytest.raises(KeyError):
        families([Sample(name="nonesuch")])


def test_of_two_series_with_the_same_labels_one_is_served_and_no_number_that_is_none() -> None:
    twice = [Sample(name="passes", number=1), Sample(name="passes", number=2)]
    [(spec, samples)] = families(
        [*twice, Sample(name="pass_duration_seconds", number=float("nan"))]
    ).items()
    assert spec.name == "passes"
    assert [sample.number for sample in samples] == [1]


def test_a_scrape_is_made_anew_only_after_something_was_published() -> None:
    collector = StatusCollector()
    exposition = Exposition(collector)
    first = exposition.body(STRICT, zipped=False)[1]
    assert exposition.body(STRICT, zipped=False)[1] is first
    assert gzip.decompress(exposition.body(STRICT, zipped=True)[1]) == first
    collector.note_failure()
    assert b"arraygauge_pass_failures_total 1\n" in exposition.body(STRICT, zipped=False)[1]


def test_it_is_for_reading_only() -> None:
    answers: list[str] = []

    def start(status: str, headers: object, error: object = None, /) -> Callable[[bytes], object]:
        answers.append(status)
        return lambda _: None

    body = Exposition(StatusCollector())({"REQUEST_METHOD": "POST"}, start)
    assert (list(body), answers) == ([], ["405 Method Not Allowed"])


ANY_TEXT = st.text(st.characters(exclude_categories=()), min_size=1)


@given(ANY_TEXT, st.lists(ANY_TEXT, min_size=2, max_size=4, unique=True))
def test_any_name_survives_the_exposition_format(array_id: str, drives: list[str]) -> None:
    """Quotes, newlines, lone surrogates: all is parsed, and what UTF-8 holds comes back."""
    collector = StatusCollector()
    collector.publish(status(array_id=array_id, names=drives))
    collector.publish_incidents([incident(1, Severity.MAJOR, array_id)])
    samples = scrape(collector)
    labels, _ = samples["arraygauge_array_read_bytes_per_second"][0]
    assert labels["array"] == array_id.encode("utf-8", "backslashreplace").decode()
    assert len(samples["arraygauge_device_info"]) == len(drives)
