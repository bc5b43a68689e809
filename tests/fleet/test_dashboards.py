"""The dashboards: what makes one usable on any Grafana, and by anyone's eyes."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from fleet.grafana.look import SAFE_COLOURS
from fleet.promql import mistakes_in
from fleet.recordings import NAMES
from fleet.shipped import shipped

BOARDS: dict[str, dict[str, Any]] = {
    name: json.loads(text) for name, text in shipped().items() if name.endswith(".json")
}
PANELS = [
    pytest.param(panel, id=f"{board['uid']}: {panel['title']}")
    for board in BOARDS.values()
    for panel in board["panels"]
]
SOURCE = {"type": "prometheus", "uid": "${datasource}"}


def test_a_board_can_be_imported_anywhere_and_always_has_the_same_address() -> None:
    assert {board["uid"] for board in BOARDS.values()} == {
        "arraygauge-fleet",
        "arraygauge-workstation",
    }
    for board in BOARDS.values():
        assert board["id"] is None
        assert board["title"]
        assert board["description"]
        assert board["schemaVersion"] == 41


@pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS)
def test_source_job_and_machine_are_chosen_by_variables(board: dict[str, Any]) -> None:
    variables = {each["name"]: each for each in board["templating"]["list"]}
    assert {"datasource", "job", "instance"} <= set(variables)
    assert variables["datasource"]["type"] == "datasource"
    assert all(each["label"] for each in variables.values())
    annotations = board["annotations"]["list"]
    assert annotations
    assert all(each["expr"].startswith("ALERTS{") for each in annotations)


@pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS)
def test_no_panel_lies_over_another(board: dict[str, Any]) -> None:
    taken: set[tuple[int, int]] = set()
    for panel in board["panels"]:
        place = panel["gridPos"]
        cells = {
            (x, y)
            for x in range(place["x"], place["x"] + place["w"])
            for y in range(place["y"], place["y"] + place["h"])
        }
        assert not cells & taken, panel["title"]
        assert place["x"] + place["w"] <= 24
        taken |= cells
    titles = [panel["title"] for panel in board["panels"]]
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize("panel", PANELS)
def test_a_panel_says_what_it_shows_and_in_what_unit(panel: dict[str, Any]) -> None:
    assert panel["title"]
    assert panel["description"].endswith(".")
    assert panel["fieldConfig"]["defaults"]["unit"]
    assert panel["fieldConfig"]["defaults"]["thresholds"]["steps"][0]["value"] is None
    assert panel["datasource"] == SOURCE


@pytest.mark.parametrize("panel", PANELS)
def test_a_query_is_about_metrics_that_exist_on_the_chosen_machines(panel: dict[str, Any]) -> None:
    letters = [target["refId"] for target in panel["targets"]]
    assert len(set(letters)) == len(letters) > 0
    for target in panel["targets"]:
        query = target["expr"]
        assert target["datasource"] == SOURCE
        assert not list(mistakes_in(query, NAMES))
        selectors = re.findall(r"\{([^}]*)\}", query)
        asked = re.findall(r"(?<![\w$:\"])(?:up|[\w:]*arraygauge_\w+(?::\w+)*)\b", query)
        assert len(selectors) == len(asked), query
        for selector in selectors:
            assert 'job=~"$job"' in selector
            assert 'instance=~"$instance"' in selector
        assert all(span == "$__rate_interval" for span in re.findall(r"\[([^]]+)\]", query))


@pytest.mark.parametrize("panel", PANELS)
def test_every_colour_is_told_apart_by_anyone(panel: dict[str, Any]) -> None:
    """Colours of Okabe and Ito (2008); and lines that share a graph differ by name, and by
    dashes where they are of the same kind."""
    text = json.dumps(panel)
    assert set(re.findall(r"#[0-9A-Fa-f]{6}", text)) <= SAFE_COLOURS
    assert not re.search(r"palette-classic|GrYlRd|RdYlGr", text)
    if panel["type"] == "timeseries":
        styles = [json.dumps(each["properties"]) for each in panel["fieldConfig"]["overrides"]]
        assert len(styles) == len(panel["targets"])
        legends = [target["legendFormat"] for target in panel["targets"]]
        assert len(set(legends)) == len(legends)
        assert all(legends)
