"""Incidents and their changes as rows, and back again without their facts, which are told and
over: the words made of them are kept."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from arraygauge.history.dates import Epoch, device_number, uptime_now, word_number
from arraygauge.history.moment import Moment
from arraygauge.judge.findings import Cause, Finding, Matter, Origin, Severity
from arraygauge.judge.incidents import Change, Incident
from arraygauge.values import frozen


@frozen
class Words:
    """What tell says of a change: in one line, and whole, as a JSON document."""

    headline: str
    document: str


@frozen
class Entry:
    """A change to be written. ``token`` names it from before it is first written."""

    token: int
    change: Change
    words: Words
    channels: tuple[str, ...]


def write_entry(connection: sqlite3.Connection, entry: Entry, epoch: Epoch) -> None:
    """The incident as it is now, what changed, and a delivery for each channel. Written again
    it changes nothing, whatever became of the deliveries since."""
    write_incident(connection, entry.change.incident, entry.words, epoch)
    change = entry.change
    connection.execute(
        "INSERT INTO incident_change (token, incident, kind, severity, boot,"
        " uptime_epoch_seconds, at_seconds, told, headline, document)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (token) DO NOTHING",
        (
            entry.token,
            change.incident.number,
            str(change.kind),
            int(change.incident.finding.severity),
            epoch.boot_number(connection),
            epoch.seconds,
            epoch.date_of(change.moment),
            int(change.told),
            entry.words.headline,
            entry.words.document if change.told else "",
        ),
    )
    for channel in entry.channels:
        connection.execute(
            "INSERT INTO delivery (change, channel, attempts, wait_seconds, withheld)"
            " SELECT id, ?, 0, 0.0, 0 FROM incident_change WHERE token = ?"
            " ON CONFLICT (change, channel) DO NOTHING",
            (word_number(connection, channel), entry.token),
        )


def write_incident(
    connection: sqlite3.Connection, incident: Incident, words: Words, epoch: Epoch
) -> None:
    finding = incident.finding
    closed = None if incident.closed is None else epoch.date_of(incident.closed)
    row = (
        device_number(connection, finding.cause.stable_id),
        finding.cause.name,
        str(finding.origin),
        str(finding.matter),
        int(finding.severity),
        int(incident.worst),
        json.dumps(finding.arrays),
        finding.signature,
        json.dumps([_stored(each) for each in finding.also]),
        epoch.boot_number(connection),
        epoch.seconds,
        epoch.date_of(incident.opened),
        epoch.date_of(incident.seen),
        epoch.date_of(incident.told),
        closed,
        incident.reopened,
        words.headline,
        words.document,
    )
    connection.execute(
        "INSERT INTO incident (number, device, cause_name, origin, matter, severity, worst,"
        " arrays, signature, also, boot, uptime_epoch_seconds, opened_at_seconds,"
        " seen_at_seconds, told_at_seconds, closed_at_seconds, reopened, headline, document)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (number) DO UPDATE SET (device, cause_name, origin, matter, severity,"
        " worst, arrays, signature, also, boot, uptime_epoch_seconds, opened_at_seconds,"
        " seen_at_seconds, told_at_seconds, closed_at_seconds, reopened, headline, document)"
        " = (excluded.device, excluded.cause_name, excluded.origin, excluded.matter,"
        " excluded.severity, excluded.worst, excluded.arrays, excluded.signature, excluded.also,"
        " excluded.boot, excluded.uptime_epoch_seconds, excluded.opened_at_seconds,"
        " excluded.seen_at_seconds, excluded.told_at_seconds, excluded.closed_at_seconds,"
        " excluded.reopened, excluded.headline, excluded.document)",
        (incident.number, *row),
    )


def write_seen(connection: sqlite3.Connection, incidents: Iterable[Incident], epoch: Epoch) -> None:
    """When each was last seen. The other dates stay with the epoch they were written by."""
    for incident in incidents:
        connection.execute(
            "UPDATE incident SET seen_at_seconds = ? WHERE number = ?",
            (epoch.date_of(incident.seen), incident.number),
        )


def read_incidents(
    connection: sqlite3.Connection, now: Moment, closed_within_seconds: float
) -> tuple[Incident, ...]:
    """Open ones, and those closed no longer ago; oldest first, their moments as uptimes of the
    present boot."""
    rows = connection.execute(
        "SELECT number, stable_id, cause_name, origin, matter, severity, worst, arrays,"
        " signature, also, text, uptime_epoch_seconds, opened_at_seconds, seen_at_seconds,"
        " told_at_seconds, closed_at_seconds, reopened FROM incident"
        " JOIN device ON device.id = device LEFT JOIN word ON word.id = boot ORDER BY number"
    ).fetchall()
    found = (_incident(row, now) for row in rows)
    return tuple(
        each
        for each in found
        if each.closed is None or now.uptime_seconds - each.closed <= closed_within_seconds
    )


def _incident(row: Sequence[Any], now: Moment) -> Incident:
    number, stable_id, name, origin, matter, severity, worst, arrays, signature, also = row[:10]
    boot, epoch_seconds, opened, seen, told, closed, reopened = row[10:]
    epoch = Epoch(seconds=epoch_seconds, boot_id=boot)

    def uptime(date: float) -> float:
        return uptime_now(epoch.moment_at(date), now)

    finding = Finding(
        origin=Origin(origin),
        cause=Cause(stable_id=stable_id, name=name),
        matter=Matter(matter),
        severity=Severity(severity),
        arrays=tuple(json.loads(arrays)),
        signature=signature,
        facts=None,
    )
    others = tuple(_restored(each, finding.cause) for each in json.loads(also))
    return Incident(
        number=number,
        finding=replace(finding, also=others),
        worst=Severity(worst),
        opened=uptime(opened),
        seen=uptime(seen),
        told=uptime(told),
        closed=None if closed is None else uptime(closed),
        reopened=reopened,
    )


def _stored(finding: Finding) -> dict[str, object]:
    return {
        "origin": finding.origin,
        "matter": finding.matter,
        "severity": int(finding.severity),
        "arrays": finding.arrays,
        "signature": finding.signature,
    }


def _restored(stored: dict[str, Any], cause: Cause) -> Finding:
    return Finding(
        origin=Origin(stored["origin"]),
        cause=cause,
        matter=Matter(stored["matter"]),
        severity=Severity(stored["severity"]),
        arrays=tuple(stored["arrays"]),
        signature=stored["signature"],
        facts=None,
    )
