"""The past as it is drawn: throughput in so many stretches, and incidents as spans of time.

Read through a connection of its own that cannot write, so that nobody who looks holds up the
one who writes.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from pathlib import Path

from arraygauge.history.database import BUSY_SECONDS, History
from arraygauge.history.days import DAY_SECONDS
from arraygauge.history.measurements import USUAL_READ, plain_read_of
from arraygauge.history.problems import as_history_errors
from arraygauge.judge.findings import Severity
from arraygauge.probe.values import Route
from arraygauge.values import frozen


@frozen
class Stretch:
    """What was measured in one stretch of time: bytes per second, the mean and the ends.
    ``at_seconds`` is the mean moment of it. ``floor`` and ``ceiling`` are the mean of what was
    expected, where anything was."""

    at_seconds: float
    measurements: int
    least: float
    mean: float
    most: float
    floor: float | None
    ceiling: float | None


@frozen
class IncidentSpan:
    """An incident in short. ``document`` is what was said of it last, as JSON."""

    number: int
    severity: Severity
    worst: Severity
    cause_id: str
    cause_name: str
    arrays_json: str
    headline: str
    opened_at_seconds: float
    closed_at_seconds: float | None
    document: str


@frozen
class SizedRate:
    """The latest rate at one transfer size, bytes per second."""

    transfer_bytes: int
    queue_depth: int
    at_seconds: float
    bytes_per_second: float


def open_for_looking(path: Path) -> History:
    """A history that only reads, of a file that another connection keeps up to date.
    Raises HistoryError."""
    with as_history_errors(path):
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=ro",
            uri=True,
            timeout=BUSY_SECONDS,
            isolation_level=None,
            check_same_thread=False,
        )
        connection.execute("PRAGMA query_only = ON")
    return History(connection, path, ())


def usual_workload(history: History, stable_id: str) -> str | None:
    """What the device was read with most, of all that is kept whole; where a curve alone was
    read, that of its workloads which is measured else. Raises HistoryError."""
    with history.reading() as connection:
        row = connection.execute(
            "SELECT text FROM (SELECT workload, count(*) AS made FROM measurement WHERE device ="
            " (SELECT id FROM device WHERE stable_id = ?) AND rate_bytes_per_second IS NOT NULL"
            " GROUP BY workload) JOIN word ON word.id = workload WHERE text LIKE 'read-%'"
            " ORDER BY made DESC, text LIKE ? DESC LIMIT 1",
            (stable_id, f"{USUAL_READ}%"),
        ).fetchone()
    return None if row is None else str(row[0])


_STRETCHES = """
WITH made AS (
  SELECT started_at_seconds AS at, 1 AS rated, rate_bytes_per_second AS least,
    rate_bytes_per_second AS mean, rate_bytes_per_second AS most,
    floor_bytes_per_second AS floor, ceiling_bytes_per_second AS ceiling
  FROM measurement
  WHERE device = (SELECT id FROM device WHERE stable_id = :device)
    AND workload = (SELECT id FROM word WHERE text = :workload)
    AND started_at_seconds BETWEEN :since AND :until AND rate_bytes_per_second IS NOT NULL
  UNION ALL
  SELECT (day + 0.5) * :day_seconds, rated, least_bytes_per_second, median_bytes_per_second,
    most_bytes_per_second, floor_bytes_per_second, ceiling_bytes_per_second
  FROM measurement_day
  WHERE device = (SELECT id FROM device WHERE stable_id = :device)
    AND workload = (SELECT id FROM word WHERE text = :workload)
    AND (day + 0.5) * :day_seconds BETWEEN :since AND :until
    AND median_bytes_per_second IS NOT NULL
)
SELECT sum(at * rated) / sum(rated), sum(rated), min(least), sum(mean * rated) / sum(rated),
  max(most), avg(floor), avg(ceiling)
FROM made GROUP BY cast((at - :since) / :width AS INTEGER) ORDER BY 1
"""


def stretches_of(
    history: History,
    stable_id: str,
    workload: str,
    window: tuple[float, float],
    most: int,
) -> tuple[Stretch, ...]:
    """What was measured between two moments (seconds since 1970), in at most ``most`` stretches
    of equal length, oldest first; a day that is kept as one row counts by its median.
    Raises HistoryError."""
    since, until = window
    values = {
        "device": stable_id,
        "workload": workload,
        "since": since,
        "until": until,
        "width": (until - since) / (most - 1),
        "day_seconds": DAY_SECONDS,
    }
    with history.reading() as connection:
        rows = connection.execute(_STRETCHES, values).fetchall()
    return tuple(
        Stretch(
            at_seconds=at,
            measurements=made,
            least=least,
            mean=mean,
            most=highest,
            floor=floor,
            ceiling=ceiling,
        )
        for at, made, least, mean, highest, floor, ceiling in rows
    )


_TOUCHING = (
    " FROM incident WHERE (:array IS NULL OR instr(arrays, :array)"
    " OR device = (SELECT id FROM device WHERE stable_id = :device))"
    " AND opened_at_seconds <= :until"
)
_OPEN = f"{_TOUCHING} AND closed_at_seconds IS NULL"
_OVER = f"{_TOUCHING} AND closed_at_seconds >= :since"
_ONE_SPAN = (
    "SELECT number, severity, worst, stable_id, cause_name, arrays, headline,"
    " opened_at_seconds, closed_at_seconds, document"
    " FROM incident JOIN device ON device.id = device WHERE number = ?"
)


def incident_spans(
    history: History,
    of: tuple[str, str] | None,
    window: tuple[float, float],
    most: int,
    *,
    open_only: bool = False,
) -> tuple[Sequence[IncidentSpan], int]:
    """Incidents that touch the window, of an array by its name and stable id or of everything:
    those that are open first, the worst first, then the newest; at most so many. And how many
    there are in all. Raises HistoryError."""
    array, device = of or (None, None)
    values: dict[str, str | float | None] = {
        "array": None if array is None else json.dumps(array),  # as it stands in the list
        "device": device,
        "since": window[0],
        "until": window[1],
        "most": most,
    }
    with history.reading() as connection:
        chosen = connection.execute(
            f"SELECT number {_OPEN} ORDER BY severity DESC, number DESC LIMIT :most", values
        ).fetchall()
        total: int = connection.execute(f"SELECT count(*) {_OPEN}", values).fetchone()[0]
        if not open_only:
            values["most"] = most - len(chosen)
            chosen += connection.execute(
                f"SELECT number {_OVER} ORDER BY number DESC LIMIT :most", values
            ).fetchall()
            total += connection.execute(f"SELECT count(*) {_OVER}", values).fetchone()[0]
        rows = [connection.execute(_ONE_SPAN, number).fetchone() for number in chosen]
    return [_span(row) for row in rows], total


def _span(row: tuple[int, int, int, str, str, str, str, float, float | None, str]) -> IncidentSpan:
    return IncidentSpan(
        number=row[0],
        severity=Severity(row[1]),
        worst=Severity(row[2]),
        cause_id=row[3],
        cause_name=row[4],
        arrays_json=row[5],
        headline=row[6],
        opened_at_seconds=row[7],
        closed_at_seconds=row[8],
        document=row[9],
    )


def sized_rates(history: History, stable_id: str) -> tuple[SizedRate, ...]:
    """The latest of each transfer size that was read one after another from the raw device,
    smallest first. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            "SELECT text, max(started_at_seconds), rate_bytes_per_second FROM measurement"
            " JOIN word ON word.id = workload WHERE device ="
            " (SELECT id FROM device WHERE stable_id = ?) AND rate_bytes_per_second IS NOT NULL"
            " AND text LIKE 'read-sequential-%' GROUP BY workload",
            (stable_id,),
        ).fetchall()
    found: dict[int, SizedRate] = {}
    for word, at, rate in rows:
        workload, route = plain_read_of(word) or (None, None)
        if workload is None or route is not Route.RAW:
            continue
        size = SizedRate(
            transfer_bytes=workload.transfer_bytes,
            queue_depth=workload.queue_depth,
            at_seconds=at,
            bytes_per_second=rate,
        )
        if size.transfer_bytes not in found or found[size.transfer_bytes].at_seconds < at:
            found[size.transfer_bytes] = size
    return tuple(found[size] for size in sorted(found))


def last_change(history: History) -> int:
    """The number of the newest change of any incident, 0 where there is none.
    Raises HistoryError."""
    with history.reading() as connection:
        row = connection.execute("SELECT coalesce(max(id), 0) FROM incident_change").fetchone()
    return int(row[0])
