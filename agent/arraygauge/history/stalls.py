"""Stalls as they are kept: how long a drive did not answer, in milliseconds and in frames."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterable

from arraygauge.history.database import History
from arraygauge.history.dates import device_number, word_number
from arraygauge.history.pen import Pen
from arraygauge.values import frozen

KEPT_STALLS = 5000
"""The newest, of all drives together: some half a megabyte."""


@frozen
class StallRecord:
    """``name`` is what the kernel called the drive then; ``milliseconds`` may be off by
    ``error_milliseconds``. ``hang`` from three seconds on."""

    stable_id: str
    name: str
    began_at_seconds: float
    milliseconds: int
    error_milliseconds: int
    in_flight: int
    hang: bool
    frames_per_second: float

    @property
    def frames(self) -> float:
        """That should have been shown meanwhile."""
        return self.milliseconds / 1000 * self.frames_per_second


class Stalls:
    """Those of one history."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, records: Iterable[StallRecord]) -> bool:
        """Keep them, and let the oldest go; whether they are on the disk."""
        made = tuple((secrets.randbits(62), each) for each in records)

        def work(connection: sqlite3.Connection) -> None:
            for token, each in made:
                _insert(connection, token, each)
            connection.execute(
                "DELETE FROM stall WHERE id <= (SELECT max(id) FROM stall) - ?", (KEPT_STALLS,)
            )

        return self._pen.write(work, may_be_missed=True)


def _insert(connection: sqlite3.Connection, token: int, record: StallRecord) -> None:
    connection.execute(
        "INSERT INTO stall (token, device, name, began_at_seconds, milliseconds,"
        " error_milliseconds, in_flight, hang, frames_per_second)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (token) DO NOTHING",
        (
            token,
            device_number(connection, record.stable_id),
            word_number(connection, record.name),
            record.began_at_seconds,
            record.milliseconds,
            record.error_milliseconds,
            record.in_flight,
            int(record.hang),
            record.frames_per_second,
        ),
    )


def stalls_of(
    history: History, stable_id: str | None, since_seconds: float = 0.0
) -> tuple[StallRecord, ...]:
    """Those of one drive, or (None) of all, oldest first. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            "SELECT stable_id, text, began_at_seconds, milliseconds, error_milliseconds,"
            " in_flight, hang, frames_per_second FROM stall"
            " JOIN device ON device.id = device JOIN word ON word.id = name"
            " WHERE began_at_seconds >= :since AND (:id IS NULL OR stable_id = :id)"
            " ORDER BY began_at_seconds, stall.id",
            {"since": since_seconds, "id": stable_id},
        ).fetchall()
    return tuple(
        StallRecord(
            stable_id=row[0],
            name=row[1],
            began_at_seconds=row[2],
            milliseconds=row[3],
            error_milliseconds=row[4],
            in_flight=row[5],
            hang=bool(row[6]),
            frames_per_second=row[7],
        )
        for row in rows
    )
