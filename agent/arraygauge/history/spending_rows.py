"""The rows behind the ledger: bursts written, read back with their age, rolled up by day."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Container, Iterator, Sequence

from arraygauge.history.moment import Moment
from arraygauge.probe.budget import DAY_SECONDS, Charge, Spending
from arraygauge.values import frozen


@frozen
class Entry:
    """A charge and when it began."""

    began: Moment
    charge: Charge

    def at(self, now: Moment) -> Spending:
        """The charge dated by today's clock: as long ago as it truly is."""
        return Spending(
            device_id=self.charge.device_id,
            started_at_seconds=now.wall_seconds - now.age_of(self.began),
            read_bytes=self.charge.read_bytes,
            written_bytes=self.charge.written_bytes,
            busy_seconds=self.charge.busy_seconds,
        )


def replace_burst(connection: sqlite3.Connection, burst: int, entries: Sequence[Entry]) -> None:
    """The burst's rows are these and no others: writing it twice changes nothing."""
    connection.execute("DELETE FROM spending WHERE burst = ?", (burst,))
    for entry in entries:
        connection.execute(
            "INSERT INTO spending (burst, device, boot, started_at_seconds,"
            " started_at_uptime_seconds, read_bytes, written_bytes, busy_seconds)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                burst,
                _device(connection, entry.charge.device_id),
                _boot(connection, entry.began.boot_id),
                entry.began.wall_seconds,
                entry.began.uptime_seconds,
                entry.charge.read_bytes,
                entry.charge.written_bytes,
                entry.charge.busy_seconds,
            ),
        )


def _device(connection: sqlite3.Connection, stable_id: str) -> int:
    connection.execute("INSERT OR IGNORE INTO device (stable_id) VALUES (?)", (stable_id,))
    query = "SELECT id FROM device WHERE stable_id = ?"
    number: int = connection.execute(query, (stable_id,)).fetchone()[0]
    return number


def _boot(connection: sqlite3.Connection, boot_id: str | None) -> int | None:
    if boot_id is None:
        return None
    connection.execute("INSERT OR IGNORE INTO boot (boot_id) VALUES (?)", (boot_id,))
    query = "SELECT id FROM boot WHERE boot_id = ?"
    number: int = connection.execute(query, (boot_id,)).fetchone()[0]
    return number


@frozen
class StoredEntry:
    row: int
    burst: int
    entry: Entry


def stored_entries(connection: sqlite3.Connection) -> Iterator[StoredEntry]:
    """Those of all devices that are not rolled up yet."""
    for row, burst, wall, uptime, boot_id, stable_id, read, written, busy in connection.execute(
        "SELECT spending.id, burst, started_at_seconds, started_at_uptime_seconds, boot_id,"
        " stable_id, read_bytes, written_bytes, busy_seconds FROM spending"
        " JOIN device ON device.id = spending.device LEFT JOIN boot ON boot.id = spending.boot"
    ):
        charge = Charge(
            device_id=stable_id, read_bytes=read, written_bytes=written, busy_seconds=busy
        )
        began = Moment(wall_seconds=wall, uptime_seconds=uptime, boot_id=boot_id)
        yield StoredEntry(row=row, burst=burst, entry=Entry(began=began, charge=charge))


def recent_spendings(
    connection: sqlite3.Connection,
    device_id: str,
    now: Moment,
    seconds: float,
    but: Container[int],
) -> Iterator[Spending]:
    """Those of one device that are not rolled up, dated by today's clock; without the bursts
    in ``but``, and without most of what ended longer ago than ``seconds``. A budget is asked
    for before each burst, so this makes as little of each row as it can."""
    found = connection.execute(
        "SELECT burst, started_at_seconds, started_at_uptime_seconds, boot_id, read_bytes,"
        " written_bytes, busy_seconds FROM spending LEFT JOIN boot ON boot.id = spending.boot"
        " WHERE device = (SELECT id FROM device WHERE stable_id = ?)"
        " AND (boot_id IS NOT ? OR started_at_uptime_seconds + busy_seconds >= ?)",
        (device_id, now.boot_id, now.uptime_seconds - seconds),
    )
    for burst, wall, uptime, boot_id, read, written, busy in found:
        if burst not in but:
            began = Moment(wall_seconds=wall, uptime_seconds=uptime, boot_id=boot_id)
            yield Spending(
                device_id=device_id,
                started_at_seconds=now.wall_seconds - now.age_of(began),
                read_bytes=read,
                written_bytes=written,
                busy_seconds=busy,
            )


def recent_days(
    connection: sqlite3.Connection, device_id: str, now: Moment, seconds: float
) -> Iterator[Spending]:
    """A device's days up to today, each as if all of it had been spent at the day's very end."""
    found = connection.execute(
        "SELECT day, read_bytes, written_bytes, busy_seconds FROM spending_day"
        " WHERE device = (SELECT id FROM device WHERE stable_id = ?)"
        " AND day <= ? AND (day + 1) * 86400 + busy_seconds > ?",
        (device_id, _day(now.wall_seconds), now.wall_seconds - seconds),
    )
    for day, read, written, busy in found:
        yield Spending(
            device_id=device_id,
            started_at_seconds=min((day + 1) * DAY_SECONDS, now.wall_seconds),
            read_bytes=read,
            written_bytes=written,
            busy_seconds=busy,
        )


def written_after_today(connection: sqlite3.Connection, device_id: str, now: Moment) -> int:
    """Bytes on days to come, by today's clock: rolled up while it was ahead, so older than two
    days in truth, though nobody knows by how much."""
    found = connection.execute(
        "SELECT coalesce(sum(written_bytes), 0) FROM spending_day"
        " WHERE device = (SELECT id FROM device WHERE stable_id = ?) AND day > ?",
        (device_id, _day(now.wall_seconds)),
    )
    written: int = found.fetchone()[0]
    return written


def _day(wall_seconds: float) -> int:
    """Days since 1970, UTC."""
    return int(wall_seconds // DAY_SECONDS)


def date_as_now(
    connection: sqlite3.Connection, future: Collection[StoredEntry], now: Moment
) -> None:
    """Entries that a clock which was ahead has dated in the future begin now, and age from now
    on: else they would count as just begun until that day comes."""
    for each in future:
        connection.execute(
            "UPDATE spending SET boot = ?, started_at_seconds = ?, started_at_uptime_seconds = ?"
            " WHERE id = ?",
            (_boot(connection, now.boot_id), now.wall_seconds, now.uptime_seconds, each.row),
        )


def roll_up(connection: sqlite3.Connection, old: Collection[StoredEntry], now: Moment) -> None:
    """Each entry is added to its day and removed."""
    for each in old:
        spending = each.entry.at(now)
        connection.execute(
            "INSERT INTO spending_day (device, day, read_bytes, written_bytes, busy_seconds)"
            " VALUES (?, ?, ?, ?, ?) ON CONFLICT (device, day) DO UPDATE SET"
            " read_bytes = read_bytes + excluded.read_bytes,"
            " written_bytes = written_bytes + excluded.written_bytes,"
            " busy_seconds = busy_seconds + excluded.busy_seconds",
            (
                _device(connection, spending.device_id),
                _day(spending.started_at_seconds),
                spending.read_bytes,
                spending.written_bytes,
                spending.busy_seconds,
            ),
        )
        connection.execute("DELETE FROM spending WHERE id = ?", (each.row,))


def forget_old(connection: sqlite3.Connection, days: int) -> None:
    """Keep the newest days of each device, and the boots that something refers to. By their
    order and not by the clock, so that one set far ahead for a while costs no memory of what
    was written."""
    connection.execute(
        "DELETE FROM spending_day WHERE (device, day) IN (SELECT device, day FROM"
        " (SELECT device, day, row_number() OVER (PARTITION BY device ORDER BY day DESC) AS place"
        " FROM spending_day) WHERE place > ?)",
        (days,),
    )
    connection.execute(
        "DELETE FROM boot WHERE id NOT IN (SELECT boot FROM spending WHERE boot IS NOT NULL)"
    )
