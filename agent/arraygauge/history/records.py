"""What happened to incidents, written down with the messages about it in one transaction.

So a kill at any moment leaves a change with all its messages or without any trace; the agent
then finds the same trouble again.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterable, Sequence

from arraygauge.history.dates import device_number, epoch_of
from arraygauge.history.incident_rows import (
    Entry,
    Words,
    read_incidents,
    write_entry,
    write_seen,
)
from arraygauge.history.incident_upkeep import forget_old_incidents
from arraygauge.history.inventory_changes import InventoryChange
from arraygauge.history.moment import Moment
from arraygauge.history.outbox import Outbox
from arraygauge.history.pen import Pen
from arraygauge.judge.findings import Severity
from arraygauge.judge.incidents import (
    FORGOTTEN_AFTER_SECONDS,
    Change,
    Incident,
    IncidentBook,
    book_of,
)
from arraygauge.values import frozen


@frozen
class Channel:
    """A way of telling, by its name, and from which severity on it is used."""

    name: str
    least_severity: Severity = Severity.MINOR

    def wants(self, change: Change) -> bool:
        """Whoever was told that it was bad is told how it went on."""
        return change.told and change.incident.worst >= self.least_severity


class Records:
    """Incidents, messages and inventory changes of one history.

    Judge's moments are uptimes (``Moment.uptime_seconds``); ``now`` is a moment of both clocks,
    taken when they were.
    """

    def __init__(self, pen: Pen, outbox: Outbox) -> None:
        self._pen = pen
        self._outbox = outbox

    def book(self, now: Moment) -> IncidentBook:
        """The incidents as the last run of the agent left them. Raises HistoryError."""
        with self._pen.history.reading() as connection:
            incidents = read_incidents(connection, now, FORGOTTEN_AFTER_SECONDS)
            [(last,)] = connection.execute("SELECT coalesce(max(number), 0) FROM incident")
        return book_of(incidents, last + 1)

    def record(
        self,
        changes: Sequence[Change],
        words: Callable[[Change], Words],
        channels: Iterable[Channel],
        now: Moment,
    ) -> bool:
        """Write changes, their incidents and a message for each channel that wants it, all or
        nothing. Whether it is on the disk; if not it is held in memory, messages included."""
        known = tuple(channels)
        entries = tuple(
            Entry(
                token=secrets.randbits(62),
                change=change,
                words=words(change),
                channels=tuple(each.name for each in known if each.wants(change)),
            )
            for change in changes
        )
        if not entries:
            return self._pen.flush()
        epoch = epoch_of(now)

        def work(connection: sqlite3.Connection) -> None:
            for entry in entries:
                write_entry(connection, entry, epoch)

        return self._outbox.add(entries, epoch, work)

    def note_seen(self, incidents: Iterable[Incident], now: Moment) -> bool:
        """Keep when open incidents were last seen: now and then, not at every look."""
        seen, epoch = tuple(incidents), epoch_of(now)

        def work(connection: sqlite3.Connection) -> None:
            write_seen(connection, seen, epoch)

        return self._pen.write(work, key="seen", may_be_missed=True)

    def note_inventory(self, changes: Sequence[InventoryChange], now: Moment) -> bool:
        """Keep what is not as it was in the inventory. Whether it is on the disk."""
        made = tuple((secrets.randbits(62), each) for each in changes)

        def work(connection: sqlite3.Connection) -> None:
            for token, each in made:
                connection.execute(
                    "INSERT INTO inventory_change (token, at_seconds, device, name, what,"
                    " before, after) VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (token) DO NOTHING",
                    (
                        token,
                        now.wall_seconds,
                        device_number(connection, each.stable_id),
                        each.name,
                        each.what,
                        each.before,
                        each.after,
                    ),
                )

        return self._pen.write(work, may_be_missed=True)

    def prune(self) -> bool:
        """Keep the newest incidents and changes, and all that is open or still to be sent."""
        return self._pen.write(forget_old_incidents, key="prune incidents", may_be_missed=True)
