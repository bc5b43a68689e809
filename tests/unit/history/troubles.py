"""Invented findings, changes and words for tests of what is kept of them."""

from __future__ import annotations

import json
from typing import Any

from arraygauge.history import Moment, Words
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.incidents import Change, IncidentBook, advance


def finding(name: str = "sdc", **changes: Any) -> Finding:
    plain: dict[str, Any] = {
        "origin": Origin.STATE,
        "cause": Cause(stable_id=f"invented-{name}", name=name),
        "matter": Matter.NO_REDUNDANCY,
        "severity": Severity.CRITICAL,
        "arrays": ("md0",),
        "signature": "none left 2/3 False",
        "facts": None,
    }
    return Finding(**{**plain, **changes})


def looked(*findings: Finding) -> Observation:
    return Observation(origin=Origin.STATE, findings=findings)


def opened(
    book: IncidentBook, moment: float, *findings: Finding
) -> tuple[IncidentBook, tuple[Change, ...]]:
    return advance(book, looked(*(findings or (finding(),))), moment)


def words(change: Change) -> Words:
    headline = f"{change.kind} {change.incident.finding.cause.name}"
    document = {
        "words": {"headline": headline},
        "change": str(change.kind),
        "number": change.incident.number,
    }
    return Words(headline=headline, document=json.dumps(document))


def moment(uptime: float, boot: str = "invented-boot", wall: float = 1_800_000_000.0) -> Moment:
    """``wall`` is the date of uptime 0."""
    return Moment(wall_seconds=wall + uptime, uptime_seconds=uptime, boot_id=boot)
