"""The shipped rules: about metrics that exist, complete, and tried by promtool."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fleet.alerts_of_agents import ALERTS_OF_AGENTS
from fleet.alerts_of_arrays import ALERTS_OF_ARRAYS
from fleet.programs import promtool, require
from fleet.promql import mistakes_in
from fleet.recordings import NAMES, RECORDINGS
from fleet.rules import Alert, Case

ALERTS = (*ALERTS_OF_ARRAYS, *ALERTS_OF_AGENTS)
RULES = Path(__file__).parents[2] / "dashboards/rules"


def test_no_rule_names_a_metric_or_label_that_does_not_exist() -> None:
    queries = [each.query for each in (*ALERTS, *RECORDINGS)]
    assert not [mistake for query in queries for mistake in mistakes_in(query, NAMES)]
    assert list(mistakes_in('arraygauge_nonesuch > 0 and arraygauge_array_info{shape="x"}')) == [
        "no metric is named arraygauge_nonesuch",
        "arraygauge_array_info has no label shape",
    ]


@pytest.mark.parametrize("alert", ALERTS, ids=lambda alert: alert.name)
def test_an_alert_has_one_stable_summary_and_its_place_in_the_runbook(alert: Alert) -> None:
    assert alert.name.startswith("Arraygauge")
    assert "{{" not in alert.summary
    assert alert.summary.endswith(".")
    assert "$labels.instance" in alert.description
    assert alert.steps
    headings = (RULES.parent / "RUNBOOK.md").read_text(encoding="utf-8").splitlines()
    assert f"## {alert.name}" in headings
    assert alert.annotations["runbook"].partition("#")[2] == alert.name.lower()


def test_every_alert_is_named_once() -> None:
    assert len({alert.name for alert in ALERTS}) == len(ALERTS)


def test_promtool_finds_no_fault_with_the_files() -> None:
    require("promtool")
    said = promtool("check", "rules", *map(str, sorted(RULES.glob("*.yml"))))
    assert f"{len(ALERTS)} rules found" in said
    assert f"{len(RECORDINGS)} rules found" in said


def test_each_alert_fires_when_it_should_and_not_otherwise(tmp_path: Path) -> None:
    """Labels and annotations exactly, by Prometheus's own evaluation of the shipped files."""
    require("promtool")
    cases = [_case(alert, alert.fires, fires=True) for alert in ALERTS]
    cases += [_case(alert, alert.quiet, fires=False) for alert in ALERTS]
    promtool("test", "rules", _file(tmp_path, cases))


def test_each_recording_gives_what_it_says(tmp_path: Path) -> None:
    require("promtool")
    cases: list[dict[str, object]] = [
        {
            "interval": "1m",
            "input_series": _series(each.series),
            "promql_expr_test": [
                {
                    "expr": each.name,
                    "eval_time": "2m",
                    "exp_samples": [{"labels": each.name + each.labels, "value": each.value}],
                }
            ],
        }
        for each in RECORDINGS
    ]
    promtool("test", "rules", _file(tmp_path, cases))


def _file(folder: Path, cases: list[dict[str, object]]) -> str:
    """JSON is YAML."""
    target = folder / "test.yml"
    files = [str(path) for path in sorted(RULES.glob("*.yml"))]
    whole = {"rule_files": files, "evaluation_interval": "1m", "tests": cases}
    target.write_text(json.dumps(whole))
    return str(target)


def _series(series: object) -> list[dict[str, str]]:
    assert isinstance(series, dict)
    return [{"series": name, "values": values} for name, values in series.items()]


def _case(alert: Alert, case: Case, *, fires: bool) -> dict[str, object]:
    return {
        "name": f"{alert.name} {'fires' if fires else 'is quiet'}",
        "interval": "1m",
        "input_series": _series(case.series),
        "alert_rule_test": [
            {
                "eval_time": case.at,
                "alertname": alert.name,
                "exp_alerts": [_fired(alert, case)] if fires else [],
            }
        ],
    }


def _fired(alert: Alert, case: Case) -> dict[str, object]:
    return {
        "exp_labels": {**case.labels, **alert.labels},
        "exp_annotations": {name: _filled(text, case) for name, text in alert.annotations.items()},
    }


def _filled(text: str, case: Case) -> str:
    """The few template words that the descriptions use."""
    for label, value in case.labels.items():
        text = text.replace(f"{{{{ $labels.{label} }}}}", value)
    for form in ("", " | humanizePercentage", " | humanizeDuration"):
        text = text.replace(f"{{{{ $value{form} }}}}", case.value)
    assert "{{" not in text
    return text


def test_a_sync_that_goes_on_is_not_stalled(tmp_path: Path) -> None:
    """Nor is one too short for two scrapes to see it change: both are quiet."""
    require("promtool")
    [stalled] = [alert for alert in ALERTS if alert.name == "ArraygaugeSyncStalled"]
    [series] = [name for name in stalled.fires.series if "sync_ratio" in name]
    moving = {**stalled.fires.series, series: "0+0.001x120"}
    case = _case(stalled, Case(series=moving, at="90m"), fires=False)
    promtool("test", "rules", _file(tmp_path, [case]))
