"""An invented machine's status, and what a strict OpenMetrics parser finds in a scrape of it."""

from __future__ import annotations

from collections.abc import Iterable

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from arraygauge.inventory.values import Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.probe.values import Attempt
from arraygauge.tell.metrics import Exposition, StatusCollector
from invented import array, drive, host, measured, member

NAMES = ("vdb", "vdc")
STRICT = "application/openmetrics-text; version=1.0.0"

Samples = dict[str, list[tuple[dict[str, str], float]]]


def status(
    array_id: str = "invented-md0", attempt: Attempt | None = None, names: Iterable[str] = NAMES
) -> Status:
    """A pass over a stripe of two."""
    drives = [drive(name) for name in names]
    members = [member(each.name, slot) for slot, each in enumerate(drives)]
    stripe = array(Level.RAID0, members, stable_id=array_id)
    machine = host([stripe], drives)
    attempts: dict[str, Attempt] = {each.name: measured(each.name, 20e6) for each in drives}
    attempts["md0"] = attempt or measured("md0", 39e6)
    return Status(
        host=machine,
        arrays=(assess_array(machine, stripe, attempts, Grounds()),),
        devices=tuple(
            assess_device(machine, each, attempts[each.name], {}, Grounds()) for each in drives
        ),
        seconds=1.0,
    )


def scrape(collector: StatusCollector) -> Samples:
    """By series name; fails where the parser does, or where a series is there twice."""
    text = Exposition(collector).body(STRICT, zipped=False)[1].decode()
    samples: Samples = {}
    seen = set()
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            key = (sample.name, *sorted(sample.labels.items()))
            assert key not in seen
            seen.add(key)
            samples.setdefault(sample.name, []).append((sample.labels, sample.value))
    return samples
