"""What a person at the desktop has not been shown yet, from the agent's list of incidents."""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum
from typing import Any

from arraygauge.tell.incident_json import INCIDENTS_FORMAT
from arraygauge.values import frozen


class Urgency(IntEnum):
    """As the Desktop Notifications Specification numbers it (from memory)."""

    LOW = 0
    NORMAL = 1
    CRITICAL = 2


@frozen
class Notice:
    """One notification. One about the same incident takes the place of the one before."""

    incident: int
    headline: str
    body: str
    urgency: Urgency


_ORDER = ("information", "minor", "major", "critical")
Shown = Mapping[int, float]
"""By incident number, the date of its last change that was shown."""


def news(
    document: Mapping[str, Any], shown: Shown, least_severity: str
) -> tuple[tuple[Notice, ...], dict[int, float]]:
    """What to show now, and what was shown then. Of an incident that was never shown, its end is
    not either; nor what is silent, until it is not.

    Raises ValueError for a document of another format.
    """
    if document.get("format") != INCIDENTS_FORMAT:
        raise ValueError(f"not a list of incidents: format {document.get('format')!r}")
    quiet = {each["cause_stable_id"] for each in document["silences"]}
    notices: list[Notice] = []
    after: dict[int, float] = {}
    for incident in document["incidents"]:
        number = incident["number"]
        latest = max(
            (each["at_seconds"] for each in incident["changes"] if each["told"]), default=0
        )
        over = incident["closed_at_seconds"] is not None
        hushed = None in quiet or incident["cause"]["stable_id"] in quiet
        bad = _ORDER.index(incident["worst_severity"]) >= _ORDER.index(least_severity)
        if number in shown:
            after[number] = shown[number]
        if hushed or not bad or (over and number not in shown) or shown.get(number) == latest:
            continue
        after[number] = latest
        notices.append(_notice(incident, over))
    return tuple(notices), after


def _notice(incident: Mapping[str, Any], over: bool) -> Notice:
    words = incident["words"]
    steps = words["steps"][:1]
    return Notice(
        incident=incident["number"],
        headline=words["headline"],
        body="\n".join(part for part in (words["reason"], words["meaning"], *steps) if part),
        urgency=Urgency.LOW if over else _urgency(incident["severity"]),
    )


def _urgency(severity: str) -> Urgency:
    """Only what is critical stays on the screen until it is dismissed."""
    return Urgency.CRITICAL if severity == "critical" else Urgency.NORMAL


def silence_of_the_agent(why: str) -> Notice:
    """That nobody watches is worth knowing as well."""
    return Notice(
        incident=0,
        headline="arraygauge does not answer: nobody watches the arrays",
        body=f"{why}\nSee what became of it: systemctl status arraygauge",
        urgency=Urgency.NORMAL,
    )
