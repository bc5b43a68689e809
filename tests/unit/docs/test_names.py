"""What the documentation's pages name is there: files, metrics, alerts, and the words by which the
program says how things are."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import pytest

from arraygauge.judge.findings import Matter
from arraygauge.judge.values import Cause, Pace, Protection
from arraygauge.tell.metrics import TABLE

ROOT = Path(__file__).parents[3]
PAGES = sorted((ROOT / "agent/docs/pages").glob("*.md"))
every_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.name))
_FILE = re.compile(
    r"`((?:tests|dashboards|systemd|agent)/[\w./-]+|[\w-]+/[\w/-]+\.py|test_\w+\.py)`"
)
PLACES = (ROOT, ROOT / "agent/arraygauge", ROOT / "tests/unit/theory")
"""What a file may be named from: the source tree, the program, and for the model its tests."""


def first_cells(page: str) -> list[str]:
    text = (ROOT / "agent/docs/pages" / page).read_text()
    return re.findall(r"^\| ([^|]+?) \|", text, re.MULTILINE)


def without_a_row(words: Iterable[str], page: str) -> list[str]:
    cells = [re.split(r", | \(|\)", cell) for cell in first_cells(page)]
    named = {part for cell in cells for part in cell}
    return [word for word in words if word not in named]


@every_page
def test_files_that_are_named_are_there(page: Path) -> None:
    named = set(_FILE.findall(page.read_text()))
    assert {each for each in named if not any((place / each).exists() for place in PLACES)} == set()


@every_page
def test_metrics_and_alerts_that_are_named_exist(page: Path) -> None:
    text = page.read_text()
    series = {spec.series_name for spec in TABLE}
    assert set(re.findall(r"\barraygauge_[a-z]\w+", text)) <= series
    rules = (ROOT / "dashboards/rules/alerts.yml").read_text()
    alerts = set(re.findall(r"alert: (\w+)", rules))
    assert set(re.findall(r"\bArraygauge[A-Z]\w+", text)) <= alerts


def test_each_kind_of_incident_has_a_first_step() -> None:
    assert without_a_row(Matter, "incident.md") == []


@pytest.mark.parametrize("words", [Pace, Protection, Cause])
def test_each_outcome_of_a_check_has_a_row(words: Iterable[str]) -> None:
    assert without_a_row(words, "commission.md") == []
