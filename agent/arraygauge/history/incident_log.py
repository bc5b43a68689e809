"""Incidents as they were told, open and past, for people and scripts."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from arraygauge.history.database import History
from arraygauge.judge.findings import Severity
from arraygauge.values import frozen


@frozen
class LoggedChange:
    """One change of an incident, and what was said of it then."""

    kind: str
    at_seconds: float
    severity: Severity
    told: bool
    headline: str


@frozen
class LoggedIncident:
    """An incident; dates are seconds since 1970. ``document`` is what was said last, whole."""

    number: int
    cause_id: str
    cause_name: str
    matter: str
    severity: Severity
    worst: Severity
    arrays: tuple[str, ...]
    opened_at_seconds: float
    seen_at_seconds: float
    closed_at_seconds: float | None
    reopened: int
    headline: str
    document: str
    changes: tuple[LoggedChange, ...]


def logged_incidents(history: History, most_closed: int) -> tuple[LoggedIncident, ...]:
    """All that are open, the worst first; then the newest closed ones. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            f"{_QUERY} WHERE closed_at_seconds IS NULL ORDER BY severity DESC, number"
        ).fetchall()
        rows += connection.execute(
            f"{_QUERY} WHERE closed_at_seconds IS NOT NULL ORDER BY closed_at_seconds DESC LIMIT ?",
            (most_closed,),
        ).fetchall()
        return tuple(_incident(connection, row) for row in rows)


def logged_incident(history: History, number: int) -> LoggedIncident | None:
    """The one with this number. Raises HistoryError."""
    with history.reading() as connection:
        row = connection.execute(f"{_QUERY} WHERE number = ?", (number,)).fetchone()
        return None if row is None else _incident(connection, row)


_QUERY = (
    "SELECT number, stable_id, cause_name, matter, severity, worst, arrays, opened_at_seconds,"
    " seen_at_seconds, closed_at_seconds, reopened, headline, document"
    " FROM incident JOIN device ON device.id = device"
)


def _incident(connection: sqlite3.Connection, row: tuple[Any, ...]) -> LoggedIncident:
    number, cause_id, name, matter, severity, worst, arrays, opened, seen, closed = row[:10]
    reopened, headline, document = row[10:]
    return LoggedIncident(
        number=number,
        cause_id=str(cause_id),
        cause_name=str(name),
        matter=str(matter),
        severity=Severity(severity),
        worst=Severity(worst),
        arrays=tuple(json.loads(str(arrays))),
        opened_at_seconds=opened,
        seen_at_seconds=seen,
        closed_at_seconds=closed,
        reopened=reopened,
        headline=str(headline),
        document=str(document),
        changes=_changes(connection, number),
    )


def _changes(connection: sqlite3.Connection, number: object) -> tuple[LoggedChange, ...]:
    rows = connection.execute(
        "SELECT kind, at_seconds, severity, told, headline FROM incident_change"
        " WHERE incident = ? ORDER BY id",
        (number,),
    )
    return tuple(
        LoggedChange(
            kind=kind, at_seconds=at, severity=Severity(severity), told=bool(told), headline=line
        )
        for kind, at, severity, told, line in rows
    )
