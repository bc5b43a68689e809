"""An incident for programs: one versioned document, base units, unknown as null."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import asdict, is_dataclass
from typing import Any

from arraygauge.history.incident_log import LoggedIncident
from arraygauge.history.incident_rows import Words
from arraygauge.history.silences import Silence
from arraygauge.judge import ArrayVerdict, DeviceVerdict
from arraygauge.judge.findings import Finding, Severity
from arraygauge.judge.incidents import Change
from arraygauge.judge.pace import rate_of
from arraygauge.tell.incident_words import SEVERITY_WORDS, DateOf, IncidentWords, change_words

INCIDENT_FORMAT = "arraygauge.incident/1"
INCIDENTS_FORMAT = "arraygauge.incidents/1"
Document = dict[str, Any]


def words_for(host_name: str, date_of: DateOf, change: Change) -> Words:
    """What the history keeps and the channels send of a change."""
    words = change_words(change, date_of)
    document = change_document(host_name, date_of, change, words)
    return Words(headline=words.headline, document=json.dumps(document, allow_nan=False))


def change_document(
    host_name: str, date_of: DateOf, change: Change, words: IncidentWords
) -> Document:
    """The message about one change. ``test`` is true for one that is about nothing."""
    incident = change.incident
    finding = incident.finding
    return {
        "format": INCIDENT_FORMAT,
        "host": host_name,
        "test": False,
        "change": str(change.kind),
        "changed_at_seconds": date_of(change.moment),
        "number": incident.number,
        "worst_severity": SEVERITY_WORDS[incident.worst],
        "cause": {"stable_id": finding.cause.stable_id, "name": finding.cause.name},
        **_finding(finding),
        "also": [_finding(each) for each in finding.also],
        "opened_at_seconds": date_of(incident.opened),
        "last_seen_at_seconds": date_of(incident.seen),
        "closed_at_seconds": None if incident.closed is None else date_of(incident.closed),
        "reopened": incident.reopened,
        "words": words_document(words),
    }


def words_document(words: IncidentWords) -> Document:
    return {
        "headline": words.headline,
        "seen": words.seen,
        "reason": words.reason,
        "meaning": words.meaning,
        "steps": list(words.steps),
        "cautions": list(words.cautions),
        "text": words.text,
    }


def _finding(finding: Finding) -> Document:
    return {
        "matter": str(finding.matter),
        "severity": SEVERITY_WORDS[finding.severity],
        "origin": str(finding.origin),
        "arrays": list(finding.arrays),
        "facts": _facts(finding.facts),
    }


def _facts(facts: object) -> Document | None:
    """Of a verdict only its figures: the rest stands in the document of a pass."""
    if isinstance(facts, ArrayVerdict | DeviceVerdict):
        band = facts.expectation
        return {
            "rate_bytes_per_second": rate_of(facts.attempt),
            "floor_bytes_per_second": band.floor_bytes_per_second if band else None,
            "ceiling_bytes_per_second": band.ceiling_bytes_per_second if band else None,
            "ratio": facts.ratio,
            "pace": str(facts.pace),
            "cause": None if facts.cause is None else str(facts.cause),
        }
    if is_dataclass(facts) and not isinstance(facts, type):
        plain: Document = _plain(asdict(facts))
        return plain
    return None


def _plain(value: Any) -> Any:
    """What JSON can say of it: no infinities, no keys that are not text."""
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(each) for each in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, str | int | None) else str(value)


def incidents_json(
    incidents: Iterable[LoggedIncident],
    silences: Iterable[Silence],
    host_name: str,
    watching: list[Document] | None = None,
) -> str:
    """The document of `arraygauge incidents --json`; each as it was told last. ``watching`` is
    what a running agent sees of members between passes (``passive_json``)."""
    now = {} if watching is None else {"watching": watching}
    return json.dumps(
        {
            "format": INCIDENTS_FORMAT,
            "host": host_name,
            "incidents": [_logged(each) for each in incidents],
            "silences": [
                {
                    "cause_stable_id": each.cause_id,
                    "made_at_seconds": each.made_at_seconds,
                    "until_seconds": each.until_seconds,
                }
                for each in silences
            ],
            **now,
        },
        indent=2,
        allow_nan=False,
    )


def _logged(incident: LoggedIncident) -> Document:
    """The dates and the last-seen moment are the history's, which may be newer than the words."""
    document: Document = json.loads(incident.document)
    return {
        **document,
        "last_seen_at_seconds": incident.seen_at_seconds,
        "closed_at_seconds": incident.closed_at_seconds,
        "changes": [
            {
                "change": each.kind,
                "at_seconds": each.at_seconds,
                "severity": SEVERITY_WORDS[each.severity],
                "told": each.told,
                "headline": each.headline,
            }
            for each in incident.changes
        ],
    }


def message_document(
    host_name: str, now_seconds: float, severity: Severity, words: IncidentWords
) -> Document:
    """A message that is about no incident: a test, in the same shape."""
    return {
        "format": INCIDENT_FORMAT,
        "host": host_name,
        "test": True,
        "message_id": "test",
        "change": "test",
        "changed_at_seconds": now_seconds,
        "number": 0,
        "worst_severity": SEVERITY_WORDS[severity],
        "cause": {"stable_id": "test", "name": "test"},
        "matter": "test",
        "severity": SEVERITY_WORDS[severity],
        "origin": "agent",
        "arrays": [],
        "facts": None,
        "also": [],
        "opened_at_seconds": now_seconds,
        "last_seen_at_seconds": now_seconds,
        "closed_at_seconds": None,
        "reopened": 0,
        "words": words_document(words),
    }
