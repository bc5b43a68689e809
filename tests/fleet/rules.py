"""Rules as values, and as the files Prometheus reads."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

RUNBOOK = "dashboards/RUNBOOK.md"
_RUNBOOK_HEAD = """# Runbook

Made from the alerts in `tests/fleet`; do not edit. Severities: critical, see to it now; warning,
today; info, know of it. An array is not a backup.
"""
_MADE = "# Made by `cd tests && python -m fleet.generate`; do not edit.\n"


class AlertSeverity(StrEnum):
    """What Prometheus users commonly call them: wake somebody, see to it today, know of it."""

    CRITICAL = "critical"
    WARNING = "warning"
    INFO = "info"


class Role(StrEnum):
    """A symptom is not told while the cause of the same array on the same machine is."""

    CAUSE = "cause"
    SYMPTOM = "symptom"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Series (as in a promtool test: series, and values a minute apart), and when to look."""

    series: Mapping[str, str]
    at: str
    labels: Mapping[str, str] = field(default_factory=dict)
    """Of the alert that fires, without those of the rule."""
    value: str = ""
    """What stands for the value in the description, where one does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """``summary`` says what stays the same, ``description`` the details. ``steps`` are for the
    runbook. ``fires`` and ``quiet`` are what it was tried on."""

    name: str
    query: str
    lasting: str
    severity: AlertSeverity
    role: Role
    summary: str
    description: str
    meaning: str
    steps: tuple[str, ...]
    fires: Case
    quiet: Case

    @property
    def labels(self) -> dict[str, str]:
        return {"severity": self.severity, "role": self.role}

    @property
    def annotations(self) -> dict[str, str]:
        return {
            "summary": self.summary,
            "description": self.description,
            "runbook": f"{RUNBOOK}#{self.name.lower()}",
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """``name`` as level:metric:operation."""

    name: str
    query: str
    series: Mapping[str, str]
    labels: str
    value: float
    """What comes of the series after two minutes."""


def alerts_file(alerts: Iterable[Alert]) -> str:
    return _MADE + "".join(f"{line}\n" for line in _group("arraygauge_alerts", map(_alert, alerts)))


def recordings_file(recordings: Iterable[Recording]) -> str:
    entries = ([f"- record: {each.name}", f"  expr: {_text(each.query)}"] for each in recordings)
    return _MADE + "".join(f"{line}\n" for line in _group("arraygauge_recordings", entries))


def _group(name: str, entries: Iterable[list[str]]) -> Iterator[str]:
    yield "groups:"
    yield f"  - name: {name}"
    yield "    rules:"
    for entry in entries:
        yield from (f"      {line}" for line in entry)


def _alert(alert: Alert) -> list[str]:
    return [
        f"- alert: {alert.name}",
        f"  expr: {_text(alert.query)}",
        f"  for: {alert.lasting}",
        "  labels:",
        *(f"    {name}: {value}" for name, value in alert.labels.items()),
        "  annotations:",
        *(f"    {name}: {_text(value)}" for name, value in alert.annotations.items()),
    ]


def _text(value: str) -> str:
    """A JSON string is a YAML string."""
    return json.dumps(value, ensure_ascii=False)


def runbook(alerts: Iterable[Alert]) -> str:
    """What each alert means and what to do, under the heading its annotation names."""
    parts = [_RUNBOOK_HEAD]
    for alert in alerts:
        steps = "\n".join(f"{number}. {step}" for number, step in enumerate(alert.steps, 1))
        parts.append(
            f"\n## {alert.name}\n\n{alert.summary} ({alert.severity}, {alert.role})\n\n"
            f"{alert.meaning}\n\n{steps}\n\n```\n{alert.query}\n```\n"
        )
    return "".join(parts)
