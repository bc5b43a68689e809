"""Moments as rows: the date, and what tells its age within the same boot."""

from __future__ import annotations

import sqlite3

from arraygauge.history.moment import Moment
from arraygauge.values import frozen


def word_number(connection: sqlite3.Connection, text: str) -> int:
    """The number a shared text has in this history; given now where it has none."""
    connection.execute("INSERT OR IGNORE INTO word (text) VALUES (?)", (text,))
    found = connection.execute("SELECT id FROM word WHERE text = ?", (text,))
    number: int = found.fetchone()[0]
    return number


def device_number(connection: sqlite3.Connection, stable_id: str) -> int:
    """The number a stable id has in this history; given now where it has none."""
    connection.execute("INSERT OR IGNORE INTO device (stable_id) VALUES (?)", (stable_id,))
    found = connection.execute("SELECT id FROM device WHERE stable_id = ?", (stable_id,))
    number: int = found.fetchone()[0]
    return number


@frozen
class Epoch:
    """Ties uptime to dates, by both clocks of one moment: ``seconds`` is the date of uptime 0.

    Judge's moments are uptimes (``Moment.uptime_seconds``) of the boot they are used in, also
    those before it, which are then negative.
    """

    seconds: float
    boot_id: str | None

    def date_of(self, uptime_seconds: float) -> float:
        """Seconds since 1970."""
        return self.seconds + uptime_seconds

    def moment_at(self, date_seconds: float) -> Moment:
        return Moment(
            wall_seconds=date_seconds,
            uptime_seconds=date_seconds - self.seconds,
            boot_id=self.boot_id,
        )

    def boot_number(self, connection: sqlite3.Connection) -> int | None:
        return None if self.boot_id is None else word_number(connection, self.boot_id)


def epoch_of(moment: Moment) -> Epoch:
    return Epoch(seconds=moment.wall_seconds - moment.uptime_seconds, boot_id=moment.boot_id)


def uptime_now(then: Moment, now: Moment) -> float:
    """An earlier moment as an uptime of the present boot, as long ago as it truly is."""
    return now.uptime_seconds - now.age_of(then)
