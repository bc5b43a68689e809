"""Messages still to be sent, in their order for each incident and channel.

What cannot be written for want of room is remembered here all the same, so that a full disk
neither keeps a message back nor sends one twice.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum

from arraygauge.history.dates import Epoch, epoch_of, word_number
from arraygauge.history.incident_rows import Entry
from arraygauge.history.moment import Moment
from arraygauge.history.pen import Pen, Work
from arraygauge.judge.incidents import ChangeKind
from arraygauge.values import frozen


class Sent(StrEnum):
    """How a message ended."""

    DELIVERED = "delivered"
    GIVEN_UP = "given up"
    SUPERSEDED = "superseded"


@frozen
class Delivery:
    """One message to one channel. ``token`` names the change it tells of; ``change`` orders it
    among others. ``tried`` is the last attempt; the next is due ``wait_seconds`` after it.
    ``withheld`` says that a silence put it off."""

    token: int
    channel: str
    change: int
    incident: int
    cause_id: str
    kind: ChangeKind
    queued: Moment
    document: str
    attempts: int = 0
    wait_seconds: float = 0.0
    tried: Moment | None = None
    withheld: bool = False
    last_error: str | None = None
    outcome: Sent | None = None

    @property
    def key(self) -> tuple[int, str]:
        return self.token, self.channel

    @property
    def lane(self) -> tuple[int, str]:
        """Messages of one lane are sent one after the other."""
        return self.incident, self.channel

    def due_in(self, now: Moment) -> float:
        """Seconds until the next attempt, 0 or less when it is due."""
        return 0.0 if self.tried is None else self.wait_seconds - now.age_of(self.tried)


_UNWRITTEN = 2**62
"""Orders messages that have no row yet after those that have."""


class Outbox:
    """Of one history, for several threads: some record, one sends."""

    def __init__(self, pen: Pen) -> None:
        self.added = threading.Event()
        self._pen = pen
        self._unwritten: dict[tuple[int, str], Delivery] = {}
        self._order = _UNWRITTEN
        self._lock = threading.RLock()

    def add(self, entries: Sequence[Entry], epoch: Epoch, work: Work) -> bool:
        """Write entries by ``work``; whether they are on the disk. Nothing is sent of them
        before that was tried."""
        with self._lock:
            for entry in entries:
                self._order += 1
                for channel in entry.channels:
                    each = _unwritten(entry, channel, self._order, epoch)
                    self._unwritten[each.key] = each
            written = self._pen.write(work)
            if written:
                self._unwritten.clear()
        self.added.set()
        return written

    def update(self, delivery: Delivery) -> bool:
        """Keep what became of it. Whether that is on the disk."""

        def work(connection: sqlite3.Connection) -> None:
            _write(connection, delivery)

        with self._lock:
            self._unwritten[delivery.key] = delivery
            written = self._pen.write(work, key=f"delivery {delivery.key}")
            if written:
                self._unwritten.clear()
            return written

    def lanes(self) -> tuple[tuple[Delivery, ...], ...]:
        """All that is still to be sent, oldest first within each lane. Raises HistoryError."""
        with self._lock:
            with self._pen.history.reading() as connection:
                stored = {each.key: each for each in _read(connection)}
            for key, each in self._unwritten.items():
                before = stored.get(key)
                stored[key] = replace(each, change=before.change) if before else each
        lanes: dict[tuple[int, str], list[Delivery]] = {}
        for each in sorted(stored.values(), key=lambda each: each.change):
            if each.outcome is None:
                lanes.setdefault(each.lane, []).append(each)
        return tuple(tuple(lane) for lane in lanes.values())

    def was_delivered(self, lane: tuple[int, str]) -> bool:
        """Whether any message of the lane ever arrived. Raises HistoryError."""
        incident, channel = lane
        with self._lock, self._pen.history.reading() as connection:
            [(count,)] = connection.execute(
                "SELECT count(*) FROM delivery JOIN incident_change ON incident_change.id = change"
                " JOIN word ON word.id = channel"
                " WHERE incident = ? AND text = ? AND outcome = ?",
                (incident, channel, str(Sent.DELIVERED)),
            )
            held = [each for each in self._unwritten.values() if each.lane == lane]
        return count > 0 or any(each.outcome is Sent.DELIVERED for each in held)


def _unwritten(entry: Entry, channel: str, order: int, epoch: Epoch) -> Delivery:
    change = entry.change
    return Delivery(
        token=entry.token,
        channel=channel,
        change=order,
        incident=change.incident.number,
        cause_id=change.incident.finding.cause.stable_id,
        kind=change.kind,
        queued=epoch.moment_at(epoch.date_of(change.moment)),
        document=entry.words.document,
    )


def _write(connection: sqlite3.Connection, delivery: Delivery) -> None:
    tried = delivery.tried
    epoch = None if tried is None else epoch_of(tried)
    connection.execute(
        "UPDATE delivery SET attempts = ?, wait_seconds = ?, withheld = ?, boot = ?,"
        " uptime_epoch_seconds = ?, tried_at_seconds = ?, last_error = ?, outcome = ?"
        " WHERE change = (SELECT id FROM incident_change WHERE token = ?) AND channel = ?",
        (
            delivery.attempts,
            delivery.wait_seconds,
            int(delivery.withheld),
            epoch.boot_number(connection) if epoch else None,
            epoch.seconds if epoch else None,
            tried.wall_seconds if tried else None,
            delivery.last_error,
            None if delivery.outcome is None else str(delivery.outcome),
            delivery.token,
            word_number(connection, delivery.channel),
        ),
    )


def _read(connection: sqlite3.Connection) -> list[Delivery]:
    rows = connection.execute(
        "SELECT token, channel.text, change, incident, stable_id, kind, said.text,"
        " incident_change.uptime_epoch_seconds, at_seconds, incident_change.document, attempts,"
        " wait_seconds, tried.text, delivery.uptime_epoch_seconds, tried_at_seconds, withheld,"
        " last_error FROM delivery JOIN incident_change ON incident_change.id = change"
        " JOIN incident ON incident.number = incident JOIN device ON device.id = device"
        " JOIN word AS channel ON channel.id = channel"
        " LEFT JOIN word AS said ON said.id = incident_change.boot"
        " LEFT JOIN word AS tried ON tried.id = delivery.boot WHERE outcome IS NULL"
    ).fetchall()
    return [
        Delivery(
            token=row[0],
            channel=row[1],
            change=row[2],
            incident=row[3],
            cause_id=row[4],
            kind=ChangeKind(row[5]),
            queued=Epoch(seconds=row[7], boot_id=row[6]).moment_at(row[8]),
            document=row[9],
            attempts=row[10],
            wait_seconds=row[11],
            tried=(
                None
                if row[14] is None
                else Epoch(seconds=row[13], boot_id=row[12]).moment_at(row[14])
            ),
            withheld=bool(row[15]),
            last_error=row[16],
        )
        for row in rows
    ]
