"""Writes in words: the figure, what it is held to, and what to know about it."""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from arraygauge.history.measurements import records_of
from arraygauge.judge import Grounds, Status
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.writes.cliff import Cliff
from arraygauge.probe.writes.values import WriteMeasurement, WriteOutcome
from arraygauge.tell.machine import status_json
from arraygauge.tell.metrics import StatusCollector
from arraygauge.tell.terminal import print_status
from arraygauge.tell.writes import write_phrase, write_remarks, write_sentence
from unit.judge.test_writes import MIRROR, RATE, judged, wrote
from unit.tell.scraped import scrape

WROTE = wrote(
    0.97 * RATE,
    path="/films/own/arraygauge-probe-256MiB.random",
    filesystem="btrfs",
    file_kept=True,
    notes=("btrfs copies on write, but not the agent's file",),
)


def test_a_rate_stands_beside_what_was_expected() -> None:
    assert write_phrase(judged(WROTE)) == "97.0 MB/s, 97% of the expected 100 MB/s"


def test_a_cliff_is_told_as_two_rates_and_where_it_is() -> None:
    cliff = Cliff(before_bytes_per_second=99e6, after_bytes_per_second=20e6, after_bytes=10**8)
    phrase = write_phrase(judged(replace(WROTE, cliff=cliff)))
    assert phrase.startswith("99.0 MB/s at first, 20.0 MB/s after 100 MB, 99%")


def test_without_declared_rates_it_says_what_is_lacking() -> None:
    sentence = write_sentence(judged(WROTE, Grounds()))
    assert "would allow 100 MB/s if they write as fast as they read" in sentence
    assert "write_mb_per_second" in sentence


def test_where_it_was_written_and_what_differs_there_is_said() -> None:
    remarks = write_remarks(judged(WROTE))
    assert "to /films/own/arraygauge-probe-256MiB.random (btrfs), which is kept" in remarks[0]
    assert remarks[1].startswith("btrfs copies on write")


@pytest.mark.parametrize(("flushed", "told"), [(0.5 * RATE, True), (0.96 * RATE, False)])
def test_a_flush_that_took_long_is_told(flushed: float, told: bool) -> None:
    remarks = write_remarks(judged(replace(WROTE, flushed_bytes_per_second=flushed)))
    assert any("with the flush" in remark for remark in remarks) is told


def test_a_refusal_is_told_with_its_reason_and_nothing_else() -> None:
    skipped = Skipped(device="md0", reason=SkipReason.NO_OWN_FILE, detail="md0: it is full")
    assert write_sentence(judged(skipped)) == "Not measured: md0: it is full."


def whole(attempt: WriteMeasurement | Skipped) -> Status:
    return Status(host=MIRROR, arrays=(), devices=(), seconds=1.0, writes=(judged(attempt),))


def test_the_terminal_and_the_document_have_it() -> None:
    printed = StringIO()
    print_status(Console(file=printed, width=100), whole(WROTE))
    assert "md0 writes  97.0 MB/s" in printed.getvalue()
    [document] = json.loads(status_json(whole(WROTE)))["writes"]
    assert document["measured"]["bytes_per_second"] == 0.97 * RATE
    assert document["expected"]["ceiling_bytes_per_second"] == pytest.approx(RATE)
    skipped = Skipped(device="/share", reason=SkipReason.NO_OWN_FILE, detail="/share: network")
    [document] = json.loads(status_json(whole(skipped)))["writes"]
    assert (document["name"], document["stable_id"]) == ("/share", None)
    assert document["measured"]["outcome"] == "skipped"


def test_the_history_keeps_writes_under_a_workload_of_their_own() -> None:
    [record] = records_of(whole(WROTE))
    assert record.workload == "write-sequential-1048576-8-file"
    assert (record.rate, record.stable_id) == (0.97 * RATE, "invented-md0")
    assert list(records_of(whole(Skipped(device="md0", reason=SkipReason.ASLEEP, detail="")))) == []


def test_a_gave_way_write_is_kept_without_a_rate() -> None:
    [record] = records_of(whole(replace(WROTE, outcome=WriteOutcome.GAVE_WAY)))
    assert (record.rate, record.outcome) == (None, "gave way")


def test_the_metric_of_the_last_write_stands_through_passes_that_only_read() -> None:
    collector = StatusCollector()
    collector.publish(whole(WROTE))
    collector.publish(replace(whole(WROTE), writes=()))
    [(labels, rate)] = scrape(collector)["arraygauge_array_write_bytes_per_second"]
    assert (labels["array"], rate) == ("invented-md0", 0.97 * RATE)
    gone = replace(MIRROR, devices=(), taken_at_seconds=1.0)
    collector.publish(Status(host=gone, arrays=(), devices=(), seconds=1.0))
    assert not [name for name in scrape(collector) if "write" in name]
