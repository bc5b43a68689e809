"""What was measured, kept whole for 90 days of measuring and by the day for five years of them.

Days are counted by order and not by the clock, so that one set far ahead for a while costs no
memory of what was.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from arraygauge.history.database import History
from arraygauge.history.dates import device_number, word_number
from arraygauge.history.days import roll_up_old_days
from arraygauge.history.pen import Pen
from arraygauge.inventory.values import Array, BlockDevice
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Pace, Status, WriteVerdict
from arraygauge.judge.writes import judged_rate
from arraygauge.probe.values import Attempt, Measurement, Route
from arraygauge.probe.writes.values import WriteMeasurement
from arraygauge.theory import SEQUENTIAL_READ, Access, Direction, Expectation, Workload
from arraygauge.values import frozen

KEPT_RAW_DAYS = 90
KEPT_DAYS = 5 * 366
NOT_MADE = "skipped"
"""The workload of an attempt that was never made: nothing was asked of the device."""


USUAL_READ = f"read-sequential-{SEQUENTIAL_READ.transfer_bytes}-"
"""How the word for what passes read begins."""


@frozen
class MeasurementRecord:
    """One attempt on one array or drive, as it is kept; rates in bytes per second.

    ``outcome`` is a word of probe's ``Outcome``, or of ``SkipReason`` where it was left alone.
    ``floor`` and ``ceiling`` bound what was expected, where anything was; ``ratio`` is rate
    over ceiling where the verdict had one. The rate is None unless it may be judged.
    ``bytes_read`` were written where the workload is a write.
    """

    stable_id: str
    name: str
    workload: str
    started_at_seconds: float
    outcome: str
    bytes_read: int
    seconds: float
    rate: float | None
    low: float | None
    high: float | None
    floor: float | None
    ceiling: float | None
    ratio: float | None
    temperature_celsius: float | None
    pace: str
    cause: str | None


def workload_key(workload: Workload, route: Route = Route.RAW) -> str:
    """What was asked, in one word: 'read-sequential-1048576-16', with bytes and depth, and what
    is out of the ordinary after them."""
    unusual = (
        "" if route is Route.RAW else f"-{route}",
        "" if workload.streams == 1 else f"-{workload.streams}-streams",
        "" if not workload.offset_bytes else f"-offset-{workload.offset_bytes}",
    )
    usual = (
        f"{workload.direction}-{workload.access}-{workload.transfer_bytes}-{workload.queue_depth}"
    )
    return usual + "".join(unusual)


def plain_read_of(word: str) -> tuple[Workload, Route] | None:
    """What ``workload_key`` wrote, and how it was reached; None for what is not a plain read."""
    direction, _, after = word.partition("-")
    access, *rest = after.split("-")
    if direction != Direction.READ or access not in list(Access) or len(rest) not in (2, 3):
        return None
    if rest[2:] not in ([], [str(Route.FILE)]) or not all(each.isdecimal() for each in rest[:2]):
        return None
    workload = Workload(
        direction=Direction.READ,
        access=Access(access),
        transfer_bytes=int(rest[0]),
        queue_depth=int(rest[1]),
    )
    return workload, Route.FILE if rest[2:] else Route.RAW


def records_of(status: Status) -> Iterator[MeasurementRecord]:
    """All attempts of one pass, arrays first; of writes those that were made."""
    taken = status.host.taken_at_seconds
    for array in status.arrays:
        yield _record(array.array, array, taken)
    for drive in status.devices:
        yield _record(drive.device, drive, taken)
    for verdict in status.writes:
        if verdict.device is not None and isinstance(verdict.attempt, WriteMeasurement):
            yield _write_record(verdict, verdict.device, verdict.attempt)


def _record(
    body: Array | BlockDevice, verdict: ArrayVerdict | DeviceVerdict, taken_at_seconds: float
) -> MeasurementRecord:
    plain = attempt_record(body, verdict.attempt, verdict.expectation, taken_at_seconds)
    return replace(
        plain,
        ratio=verdict.ratio,
        pace=str(verdict.pace),
        cause=None if verdict.cause is None else str(verdict.cause),
    )


def attempt_record(
    body: Array | BlockDevice,
    attempt: Attempt,
    expectation: Expectation | None,
    taken_at_seconds: float,
) -> MeasurementRecord:
    """An attempt that was held against an expectation, but not judged."""
    made = attempt if isinstance(attempt, Measurement) else None
    rated = made if made is not None and made.usable else None
    return MeasurementRecord(
        stable_id=body.stable_id,
        name=body.name,
        workload=workload_key(made.workload, made.route) if made else NOT_MADE,
        started_at_seconds=made.started_at_seconds if made else taken_at_seconds,
        outcome=str(made.outcome) if made else _reason(attempt),
        bytes_read=made.bytes_read if made else 0,
        seconds=made.seconds if made else 0.0,
        rate=rated.bytes_per_second if rated else None,
        low=rated.low_bytes_per_second if rated else None,
        high=rated.high_bytes_per_second if rated else None,
        floor=expectation.floor_bytes_per_second if expectation else None,
        ceiling=expectation.ceiling_bytes_per_second if expectation else None,
        ratio=None,
        temperature_celsius=made.temperature_celsius if made else None,
        pace=str(Pace.NO_REFERENCE if rated else Pace.NOT_MEASURED),
        cause=None,
    )


def _write_record(
    verdict: WriteVerdict, device: BlockDevice, made: WriteMeasurement
) -> MeasurementRecord:
    expectation = verdict.expectation
    return MeasurementRecord(
        stable_id=device.stable_id,
        name=verdict.name,
        workload=workload_key(made.workload, Route.FILE),
        started_at_seconds=made.started_at_seconds,
        outcome=str(made.outcome),
        bytes_read=made.bytes_written,
        seconds=made.seconds,
        rate=judged_rate(made),
        low=None,
        high=None,
        floor=expectation.floor_bytes_per_second if expectation else None,
        ceiling=expectation.ceiling_bytes_per_second if expectation else None,
        ratio=verdict.ratio,
        temperature_celsius=None,
        pace=str(verdict.pace),
        cause=None,
    )


def _reason(attempt: Attempt) -> str:
    return "" if isinstance(attempt, Measurement) else str(attempt.reason)


class Measurements:
    """Those of one history."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, records: Iterable[MeasurementRecord]) -> bool:
        """Keep them, all in one transaction; whether they are on the disk."""
        made = tuple(records)

        def work(connection: sqlite3.Connection) -> None:
            for each in made:
                _insert(connection, each)

        return self._pen.write(work, may_be_missed=True)

    def prune(self) -> bool:
        """Let one row stand for each day that is too old to be kept whole."""

        def work(connection: sqlite3.Connection) -> None:
            roll_up_old_days(connection, KEPT_RAW_DAYS, KEPT_DAYS)

        return self._pen.write(work, key="prune measurements", may_be_missed=True)


_COLUMNS = (
    "started_at_seconds, bytes, seconds, rate_bytes_per_second, low_bytes_per_second,"
    " high_bytes_per_second, floor_bytes_per_second, ceiling_bytes_per_second, ratio,"
    " temperature_celsius"
)


def _insert(connection: sqlite3.Connection, record: MeasurementRecord) -> None:
    connection.execute(
        f"INSERT OR REPLACE INTO measurement (device, workload, name, outcome, pace, cause,"  # noqa: S608
        f" {_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            device_number(connection, record.stable_id),
            word_number(connection, record.workload),
            word_number(connection, record.name),
            word_number(connection, record.outcome),
            word_number(connection, record.pace),
            None if record.cause is None else word_number(connection, record.cause),
            record.started_at_seconds,
            record.bytes_read,
            record.seconds,
            record.rate,
            record.low,
            record.high,
            record.floor,
            record.ceiling,
            record.ratio,
            record.temperature_celsius,
        ),
    )


@frozen
class KnownDevice:
    """An array or drive that was ever measured: its latest name, and when that was last."""

    stable_id: str
    name: str
    last_seconds: float


def known_devices(history: History) -> tuple[KnownDevice, ...]:
    """All that have measurements, by name. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            "SELECT stable_id, text, max(last) FROM"
            " (SELECT device, name, max(started_at_seconds) AS last FROM measurement GROUP BY"
            " device UNION ALL SELECT device, name, max(day) * 86400.0 FROM measurement_day"
            " GROUP BY device)"
            " JOIN device ON device.id = device JOIN word ON word.id = name"
            " GROUP BY stable_id ORDER BY text"
        ).fetchall()
    return tuple(KnownDevice(stable_id=i, name=n, last_seconds=at) for i, n, at in rows)


def find_device(known: Sequence[KnownDevice], name: str) -> KnownDevice | None:
    """By stable id, or by the kernel's name: of several that had it, who was measured last."""
    found = [each for each in known if name in (each.stable_id, each.name)]
    return max(found, key=lambda each: each.last_seconds, default=None)


def measurements_of(
    history: History, stable_id: str, since_seconds: float = 0.0
) -> tuple[MeasurementRecord, ...]:
    """Those of one device that are kept whole, oldest first. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            f"SELECT name.text, workload.text, outcome.text, pace.text, cause.text, {_COLUMNS}"  # noqa: S608
            " FROM measurement JOIN word AS name ON name.id = name"
            " JOIN word AS workload ON workload.id = workload"
            " JOIN word AS outcome ON outcome.id = outcome"
            " JOIN word AS pace ON pace.id = pace LEFT JOIN word AS cause ON cause.id = cause"
            " WHERE device = (SELECT id FROM device WHERE stable_id = ?)"
            " AND started_at_seconds >= ? ORDER BY started_at_seconds",
            (stable_id, since_seconds),
        ).fetchall()
    return tuple(
        MeasurementRecord(
            stable_id=stable_id,
            name=row[0],
            workload=row[1],
            outcome=row[2],
            pace=row[3],
            cause=row[4],
            started_at_seconds=row[5],
            bytes_read=row[6],
            seconds=row[7],
            rate=row[8],
            low=row[9],
            high=row[10],
            floor=row[11],
            ceiling=row[12],
            ratio=row[13],
            temperature_celsius=row[14],
        )
        for row in rows
    )
