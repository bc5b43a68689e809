"""What is committed for Prometheus and Grafana is what the sources make."""

from __future__ import annotations

import re

import pytest

from arraygauge.tell.metrics import TABLE, Kind
from fleet.programs import promtool, require
from fleet.shipped import FOLDER, shipped

MADE = shipped()


@pytest.mark.parametrize("name", MADE)
def test_a_shipped_file_is_the_one_that_is_made(name: str) -> None:
    """Else: `cd tests && python -m fleet.generate`."""
    assert (FOLDER / name).read_text(encoding="utf-8") == MADE[name]


def test_every_metric_is_in_the_document_once() -> None:
    rows = re.findall(r"^\| `(\w+)` \|", MADE["METRICS.md"], re.MULTILINE)
    assert sorted(rows) == sorted(spec.series_name for spec in TABLE)


def test_names_keep_the_naming_practice() -> None:
    """prometheus.io/docs/practices/naming: base units as suffixes, `_total` only on counters."""
    for spec in TABLE:
        words = spec.unit.split(",")[0].split()
        if words and words[0] != "degrees":
            unit = "timestamp_seconds" if "1970" in words else "_".join(words)
            assert spec.name.endswith(unit), spec.name
        assert spec.series_name.endswith("_total") == (spec.kind is Kind.COUNTER)
        assert spec.help.endswith("."), spec.name


def test_the_examples_are_whole_configurations() -> None:
    require("promtool", "amtool")
    promtool("check", "config", str(FOLDER / "prometheus.yml"))
