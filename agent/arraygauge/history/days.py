"""Measurements by the day: one row for a device, a workload and a day (UTC, since 1970)."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from statistics import median

from arraygauge.history.database import History
from arraygauge.judge import Pace
from arraygauge.values import frozen

DAY_SECONDS = 86400.0


@frozen
class DaySummary:
    """``made`` attempts, of which ``rated`` gave a rate and ``short`` were short of what was
    expected. Rates in bytes per second, None where none may be judged; ``floor`` and
    ``ceiling`` of the day's last expectation."""

    name: str
    workload: str
    day: int
    made: int
    rated: int
    short: int
    bytes_read: int
    least: float | None
    median: float | None
    most: float | None
    floor: float | None
    ceiling: float | None
    hottest_celsius: float | None

    @property
    def middle_seconds(self) -> float:
        """Noon, seconds since 1970."""
        return (self.day + 0.5) * DAY_SECONDS


def days_of(history: History, stable_id: str, since_seconds: float = 0.0) -> Iterator[DaySummary]:
    """One device's days that are kept no longer whole, oldest first. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            "SELECT name.text, workload.text, day, made, rated, short, bytes,"
            " least_bytes_per_second, median_bytes_per_second, most_bytes_per_second,"
            " floor_bytes_per_second, ceiling_bytes_per_second, hottest_celsius"
            " FROM measurement_day JOIN word AS name ON name.id = name"
            " JOIN word AS workload ON workload.id = workload"
            " WHERE device = (SELECT id FROM device WHERE stable_id = ?)"
            " AND (day + 1) * 86400 > ? ORDER BY day",
            (stable_id, since_seconds),
        ).fetchall()
    for row in rows:
        yield DaySummary(
            name=row[0],
            workload=row[1],
            day=row[2],
            made=row[3],
            rated=row[4],
            short=row[5],
            bytes_read=row[6],
            least=row[7],
            median=row[8],
            most=row[9],
            floor=row[10],
            ceiling=row[11],
            hottest_celsius=row[12],
        )


_Row = tuple[
    float, int, str, int, float | None, float | None, float | None, float | None
]  # started, name, pace, bytes, rate, floor, ceiling, celsius
_DayKey = tuple[int, int, int]  # device, workload, day


def roll_up_old_days(connection: sqlite3.Connection, raw_days: int, days: int) -> None:
    """Of each device and workload the newest ``raw_days`` on which it was measured stay whole,
    and the newest ``days`` before those as one row each."""
    for key, rows in _old_days(connection, raw_days).items():
        _insert_day(connection, key, rows)
        device, workload, day = key
        connection.execute(
            "DELETE FROM measurement WHERE device = ? AND workload = ?"
            " AND started_at_seconds >= ? AND started_at_seconds < ?",
            (device, workload, day * DAY_SECONDS, (day + 1) * DAY_SECONDS),
        )
    connection.execute(
        "DELETE FROM measurement_day WHERE (device, workload, day) IN"
        " (SELECT device, workload, day FROM (SELECT device, workload, day, row_number() OVER"
        " (PARTITION BY device, workload ORDER BY day DESC) AS place FROM measurement_day)"
        " WHERE place > ?)",
        (days,),
    )


def _old_days(connection: sqlite3.Connection, raw_days: int) -> dict[_DayKey, list[_Row]]:
    found: dict[_DayKey, list[_Row]] = defaultdict(list)
    for device, workload, day, *row in connection.execute(
        "WITH placed AS (SELECT *, cast(started_at_seconds AS INTEGER) / 86400 AS day,"
        " dense_rank() OVER (PARTITION BY device, workload"
        " ORDER BY cast(started_at_seconds AS INTEGER) / 86400 DESC) AS place"
        " FROM measurement)"
        " SELECT device, workload, day, started_at_seconds, name, text, bytes,"
        " rate_bytes_per_second, floor_bytes_per_second, ceiling_bytes_per_second,"
        " temperature_celsius FROM placed JOIN word ON word.id = pace"
        " WHERE place > ? ORDER BY started_at_seconds",
        (raw_days,),
    ):
        found[device, workload, day].append(tuple(row))
    return found


def _insert_day(connection: sqlite3.Connection, key: _DayKey, rows: list[_Row]) -> None:
    """A day that a clock set back has brought again is joined with what there is of it."""
    rates = sorted(row[4] for row in rows if row[4] is not None)
    heats = [row[7] for row in rows if row[7] is not None]
    last = rows[-1]
    connection.execute(
        "INSERT INTO measurement_day (device, workload, day, name, made, rated, short, bytes,"
        " least_bytes_per_second, median_bytes_per_second, most_bytes_per_second,"
        " floor_bytes_per_second, ceiling_bytes_per_second, hottest_celsius)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (device, workload, day) DO UPDATE SET made = made + excluded.made,"
        " rated = rated + excluded.rated, short = short + excluded.short,"
        " bytes = bytes + excluded.bytes,"
        " least_bytes_per_second = coalesce(min(least_bytes_per_second,"
        " excluded.least_bytes_per_second), least_bytes_per_second,"
        " excluded.least_bytes_per_second),"
        " median_bytes_per_second = iif(excluded.rated > rated,"
        " excluded.median_bytes_per_second, median_bytes_per_second),"
        " most_bytes_per_second = coalesce(max(most_bytes_per_second,"
        " excluded.most_bytes_per_second), most_bytes_per_second,"
        " excluded.most_bytes_per_second),"
        " hottest_celsius = coalesce(max(hottest_celsius, excluded.hottest_celsius),"
        " hottest_celsius, excluded.hottest_celsius)",
        (
            *key,
            last[1],
            len(rows),
            len(rates),
            sum(row[2] == Pace.SHORT for row in rows),
            sum(row[3] for row in rows),
            rates[0] if rates else None,
            median(rates) if rates else None,
            rates[-1] if rates else None,
            last[5],
            last[6],
            max(heats, default=None),
        ),
    )
