"""Metrics, held to a strict OpenMetrics parser."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from prometheus_client import CollectorRegistry
from prometheus_client.openmetrics.exposition import generate_latest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from arraygauge.inventory.values import Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.tell.metrics import StatusCollector
from invented import array, drive, host, measured, member

NAMES = ("vdb", "vdc")


def status(array_id: str = "invented-md0", attempt: Attempt | None = None) -> Status:
    members = [member(name, slot) for slot, name in enumerate(NAMES)]
    stripe = array(Level.RAID0, members, stable_id=array_id)
    machine = host([stripe])
    attempts: dict[str, Attempt] = {name: measured(name, 20e6) for name in NAMES}
    attempts["md0"] = attempt or measured("md0", 39e6)
    return Status(
        host=machine,
        arrays=(assess_array(machine, stripe, attempts, Grounds()),),
        devices=tuple(assess_device(machine, drive(n), attempts[n], {}, Grounds()) for n in NAMES),
        seconds=1.0,
    )


def scrape(collector: StatusCollector) -> dict[str, list[tuple[dict[str, str], float]]]:
    registry = CollectorRegistry()
    registry.register(collector)
    text = generate_latest(registry).decode()
    samples: dict[str, list[tuple[dict[str, str], float]]] = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            samples.setdefault(sample.name, []).append((sample.labels, sample.value))
    return samples


def test_nothing_is_said_of_arrays_before_the_first_pass() -> None:
    samples = scrape(StatusCollector())
    assert samples["arraygauge_passes_total"] == [({}, 0.0)]
    assert not any(name.startswith("arraygauge_array") for name in samples)


def test_failed_passes_are_counted_and_the_latest_status_stands() -> None:
    collector = StatusCollector()
    collector.publish(status())
    collector.note_failure()
    samples = scrape(collector)
    assert samples["arraygauge_pass_failures_total"] == [({}, 1.0)]
    assert "arraygauge_array_pace" in samples


def test_expected_and_measured_rates_are_in_base_units() -> None:
    collector = StatusCollector()
    collector.publish(status())
    samples = scrape(collector)
    label = {"array": "invented-md0"}
    assert samples["arraygauge_array_read_measured_bytes_per_second"] == [(label, 39e6)]
    assert samples["arraygauge_array_read_expected_ceiling_bytes_per_second"] == [(label, 40e6)]


def test_exactly_one_pace_is_true() -> None:
    collector = StatusCollector()
    collector.publish(status())
    paces = scrape(collector)["arraygauge_array_pace"]
    assert [labels["pace"] for labels, value in paces if value == 1] == ["as expected"]


def test_what_was_not_measured_is_absent() -> None:
    collector = StatusCollector()
    skip = Skipped(device="md0", reason=SkipReason.NOT_RUNNING, detail="stopped")
    collector.publish(status(attempt=skip))
    assert "arraygauge_array_read_measured_bytes_per_second" not in scrape(collector)


@given(st.text(st.characters(codec="utf-8"), min_size=1))
def test_any_name_survives_the_exposition_format(name: str) -> None:
    collector = StatusCollector()
    collector.publish(status(array_id=name))
    labels, _ = scrape(collector)["arraygauge_array_read_measured_bytes_per_second"][0]
    assert labels["array"] == name
