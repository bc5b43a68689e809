"""Silences: until a date nobody is told of one cause, or of anything. All is kept all the same."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from arraygauge.history.database import History
from arraygauge.history.dates import device_number
from arraygauge.values import frozen


@frozen
class Silence:
    """``cause_id`` None: of everything. Dates are seconds since 1970."""

    number: int
    cause_id: str | None
    made_at_seconds: float
    until_seconds: float


def silence(
    history: History, cause_id: str | None, until_seconds: float, now_seconds: float
) -> None:
    """Tell nobody until then; it takes the place of an earlier one on the same. Raises
    HistoryError: who asks for silence must know whether it is."""
    with history.transaction() as connection:
        _end(connection, cause_id)
        connection.execute(
            "INSERT INTO silence (device, made_at_seconds, until_seconds) VALUES (?, ?, ?)",
            (_number(connection, cause_id), now_seconds, until_seconds),
        )


def end_silence(history: History, cause_id: str | None) -> bool:
    """Tell again, at once; whether there was one. Raises HistoryError."""
    with history.transaction() as connection:
        return _end(connection, cause_id)


def silences_at(history: History, now_seconds: float) -> tuple[Silence, ...]:
    """Those that last. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            "SELECT silence.id, stable_id, made_at_seconds, until_seconds FROM silence"
            " LEFT JOIN device ON device.id = device WHERE until_seconds > ?",
            (now_seconds,),
        ).fetchall()
    return tuple(
        Silence(number=n, cause_id=cause, made_at_seconds=made, until_seconds=until)
        for n, cause, made, until in rows
    )


def is_silent(silences: Iterable[Silence], cause_id: str) -> bool:
    return any(each.cause_id in (None, cause_id) for each in silences)


def _number(connection: sqlite3.Connection, cause_id: str | None) -> int | None:
    return None if cause_id is None else device_number(connection, cause_id)


def _end(connection: sqlite3.Connection, cause_id: str | None) -> bool:
    done = connection.execute(
        "DELETE FROM silence WHERE device IS ?", (_number(connection, cause_id),)
    )
    return done.rowcount > 0
