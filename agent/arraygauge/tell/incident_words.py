"""An incident in words: what happened, why, what it means, what to do, what not to do."""

from __future__ import annotations

import time
from collections.abc import Callable

from arraygauge.judge.drift_evidence import DriftFacts
from arraygauge.judge.findings import Finding, Matter, Severity
from arraygauge.judge.footage_watch import FootageFacts
from arraygauge.judge.incidents import Change, ChangeKind, Incident
from arraygauge.tell.cautions import cautions_for
from arraygauge.tell.footage import broken_headline, broken_sentences
from arraygauge.tell.incident_reasons import reason_of
from arraygauge.tell.matters import MATTER_WORDS
from arraygauge.tell.reasons_drift import drift_steps
from arraygauge.tell.reasons_passive import passive_headline
from arraygauge.units import format_duration
from arraygauge.values import frozen

DateOf = Callable[[float], float]
"""Seconds since 1970 of one of judge's moments."""

SEVERITY_WORDS = {
    Severity.INFORMATION: "information",
    Severity.MINOR: "minor",
    Severity.MAJOR: "major",
    Severity.CRITICAL: "critical",
}
_PREFIXES = {
    ChangeKind.SEEN: "",
    ChangeKind.OPENED: "",
    ChangeKind.REOPENED: "Again: ",
    ChangeKind.WORSENED: "Worse: ",
    ChangeKind.EASED: "Eased: ",
    ChangeKind.CHANGED: "Changed: ",
    ChangeKind.CLOSED: "Over: ",
}


@frozen
class IncidentWords:
    """Plain text without markup. ``headline`` is one line; ``reason`` may be empty."""

    headline: str
    seen: str
    reason: str
    meaning: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it, for a message."""
        parts = [self.headline, self.seen, self.reason, self.meaning]
        if self.steps:
            parts.append("Look at next:\n" + "\n".join(f"- {step}" for step in self.steps))
        if self.cautions:
            parts.append("Take care:\n" + "\n".join(f"- {each}" for each in self.cautions))
        return "\n\n".join(part for part in parts if part)


def change_words(change: Change, date_of: DateOf) -> IncidentWords:
    """A change, worded for whoever is told of it."""
    incident = change.incident
    finding = incident.finding
    over = change.kind is ChangeKind.CLOSED
    words = MATTER_WORDS[finding.matter]
    return IncidentWords(
        headline=_PREFIXES[change.kind] + headline_of(finding),
        seen=_seen(incident, date_of),
        reason="" if over else _reasons(finding),
        meaning="It was not found any more." if over else _meaning(words.meaning, finding),
        steps=() if over else _steps(finding),
        cautions=() if over else cautions_for(finding),
    )


def _steps(finding: Finding) -> tuple[str, ...]:
    usual = tuple(_filled(step, finding) for step in MATTER_WORDS[finding.matter].steps)
    facts = finding.facts
    return (*drift_steps(facts), *usual) if isinstance(facts, DriftFacts) else usual


def _meaning(usual: str, finding: Finding) -> str:
    """With what becomes of promised footage, whatever the cause is."""
    facts = (each.facts for each in (finding, *finding.also))
    promises = [broken_sentences(each) for each in facts if isinstance(each, FootageFacts)]
    return " ".join((usual, *promises))


def headline_of(finding: Finding) -> str:
    """The matter in one line."""
    if isinstance(finding.facts, FootageFacts):
        return broken_headline(finding.facts)
    return passive_headline(finding) or _filled(MATTER_WORDS[finding.matter].headline, finding)


def _filled(template: str, finding: Finding) -> str:
    name = finding.cause.name
    arrays = ", ".join(finding.arrays)
    # A slot whose drive was never known is told by its array: 'md0' is not missing from 'md0'.
    if name in finding.arrays:
        template = template.replace(", {name} is missing", ", a member is missing")
    return template.format(
        name=name, arrays=arrays or name, in_arrays=f" in {arrays}" if arrays else ""
    )


def _reasons(finding: Finding) -> str:
    """The reason, and what else has the same cause."""
    others = [headline_of(each) for each in finding.also if each.matter is not Matter.FOOTAGE]
    beside = f"Also: {'; '.join(dict.fromkeys(others))}." if others else ""
    return " ".join(part for part in (reason_of(finding), beside) if part)


def _seen(incident: Incident, date_of: DateOf) -> str:
    cause = incident.finding.cause
    what = f"{cause.name} ({cause.stable_id})" if cause.name != cause.stable_id else cause.name
    since = f"Seen on {what} since {_date(date_of(incident.opened))}"
    again = f", and again {_times(incident.reopened)} since" if incident.reopened else ""
    if incident.closed is None:
        return f"{since}{again}."
    lasted = format_duration(max(0.0, incident.closed - incident.opened))
    return f"{since}{again}; over since {_date(date_of(incident.closed))}, after {lasted}."


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _date(seconds: float) -> str:
    """Local time with its zone, as the person's clock shows it."""
    return time.strftime("%Y-%m-%d %H:%M:%S %Z", time.localtime(seconds))
