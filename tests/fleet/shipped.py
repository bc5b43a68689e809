"""Every generated file of `dashboards/`, by its path there."""

from __future__ import annotations

from pathlib import Path

from fleet.alerts_of_agents import ALERTS_OF_AGENTS
from fleet.alerts_of_arrays import ALERTS_OF_ARRAYS
from fleet.grafana import overview, workstation
from fleet.metrics_document import document
from fleet.recordings import RECORDINGS
from fleet.rules import alerts_file, recordings_file, runbook

FOLDER = Path(__file__).parents[2] / "dashboards"
ALERTS = (*ALERTS_OF_ARRAYS, *ALERTS_OF_AGENTS)


def shipped() -> dict[str, str]:
    return {
        "METRICS.md": document(),
        "RUNBOOK.md": runbook(ALERTS),
        "rules/alerts.yml": alerts_file(ALERTS),
        "rules/recordings.yml": recordings_file(RECORDINGS),
        "grafana/fleet.json": overview(),
        "grafana/workstation.json": workstation(),
    }
