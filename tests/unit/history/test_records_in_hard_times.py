"""Kills at random moments and full disks: no change is lost or doubled, nor its messages."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.history import (
    Channel,
    History,
    HistoryProblem,
    Measurements,
    Memory,
    Outbox,
    Pen,
    Records,
    Sent,
    open_history,
)
from arraygauge.history.incident_log import logged_incidents
from arraygauge.history.measurements import measurements_of
from arraygauge.history.moment import system_clock
from arraygauge.history.pen import MOST_HELD
from arraygauge.judge.incidents import IncidentBook, advance
from unit.history.conftest import InventedClock
from unit.history.test_measurements import record
from unit.history.troubles import finding, looked, moment, opened, words
from unit.small_disk import fill

KILLS = 200
CHANNELS = (Channel(name="one"), Channel(name="other"))


def live(path: Path, acknowledge: int, sent: int) -> None:
    """What an agent does: it takes up its book, opens and closes incidents, and sends."""
    clock = system_clock("one boot")
    pen = Pen(open_history(path))
    outbox = Outbox(pen)
    records = Records(pen, outbox)
    book = records.book(clock())
    while True:
        now = clock()
        name = f"drive {book.next_number}"
        # What is still open from before a kill is found no more, and closes.
        for found in ((finding(name),), (), ()):
            now = replace(now, uptime_seconds=now.uptime_seconds + 3.0)
            book, changes = advance(book, looked(*found), now.uptime_seconds)
            records.record(changes, words, CHANNELS, now)
            for change in changes:
                line = f"{change.incident.number} {change.kind}\n"
                os.write(acknowledge, line.encode())
        send(outbox, sent)


def send(outbox: Outbox, sent: int) -> None:
    for lane in outbox.lanes():
        for each in lane:
            line = f"{each.token} {each.channel} {each.incident} {each.kind}\n"
            os.write(sent, line.encode())
            outbox.update(replace(each, outcome=Sent.DELIVERED))


def killed(path: Path, sent: int, seconds: float) -> list[str]:
    """The changes acknowledged by a process that was killed so long after its first."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            live(path, writing, sent)
        finally:
            os._exit(1)
    os.close(writing)
    with os.fdopen(reading) as acknowledged:
        lines = [acknowledged.readline()]
        time.sleep(seconds)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return [line.strip() for line in (*lines, *acknowledged) if line.endswith("\n")]


def test_kills_lose_and_double_nothing(path: Path, tmp_path: Path) -> None:
    """kill -9 at 200 random moments of one history; what was left is sent at the end."""
    chance = random.Random(20261125)
    outgoing = tmp_path / "sent"
    sent = os.open(outgoing, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    acknowledged: list[str] = []
    for _ in range(KILLS):
        acknowledged += killed(path, sent, chance.uniform(0, 0.02))
    with open_history(path) as history:
        send(Outbox(Pen(history)), sent)
    os.close(sent)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        changes = connection.execute(
            "SELECT id, token, incident, kind FROM incident_change ORDER BY id"
        ).fetchall()
        deliveries = Counter(row[0] for row in connection.execute("SELECT change FROM delivery"))
        numbers = [
            row[0] for row in connection.execute("SELECT number FROM incident ORDER BY number")
        ]
    kept = Counter(f"{incident} {kind}" for _, _, incident, kind in changes)
    assert set(acknowledged) <= set(kept)
    assert len(acknowledged) == len(set(acknowledged)) > KILLS
    assert set(kept.values()) == {1}, "no change is there twice"
    assert numbers == list(range(1, len(numbers) + 1))
    assert set(deliveries.values()) == {len(CHANNELS)}
    assert len(deliveries) == len(changes)
    _check_sent(outgoing, {token for _, token, _, _ in changes})


def _check_sent(outgoing: Path, tokens: set[int]) -> None:
    """Everything arrived in its order; twice only what a kill kept from being noted."""
    lines = [tuple(line.split(" ", 3)) for line in outgoing.read_text().splitlines()]
    for channel in CHANNELS:
        arrived = [line for line in lines if line[1] == channel.name]
        assert tokens == {int(line[0]) for line in arrived}
        twice = [
            token for token, count in Counter(line[0] for line in arrived).items() if count > 1
        ]
        assert len(twice) <= KILLS
        first: dict[tuple[str, str], int] = {}
        for place, (_, _, incident, kind) in enumerate(arrived):
            first.setdefault((incident, kind), place)
        for (incident, kind), place in first.items():
            if kind == "closed":
                assert first[incident, "opened"] < place


@pytest.fixture
def crowded(small_disk: Path) -> Iterator[tuple[History, Path]]:
    """A history on a disk that is full now, and the file whose removal makes room."""
    with open_history(small_disk / "history.sqlite") as history:
        ballast = small_disk / "ballast"
        fill(ballast)
        yield history, ballast


def until_full(pen: Pen, memory: Memory) -> None:
    """The log's last page may have room for a row or two."""
    while pen.problem is None:
        memory.remember("padding", "x" * 3000, str)


def test_on_a_full_disk_messages_go_out_once_and_rows_follow(
    crowded: tuple[History, Path], clock: InventedClock
) -> None:
    history, ballast = crowded
    pen = Pen(history)
    outbox, memory, measurements = Outbox(pen), Memory(pen, clock), Measurements(pen)
    records = Records(pen, outbox)
    until_full(pen, memory)
    assert pen.problem is not None
    assert pen.problem.kind is HistoryProblem.FULL
    _, changes = opened(IncidentBook(), 100.0)
    assert not records.record(changes, words, CHANNELS, moment(100))
    assert not measurements.add([record()])
    assert not memory.remember("key", "value", str)
    lanes = outbox.lanes()
    assert [len(lane) for lane in lanes] == [1, 1]
    assert not outbox.update(replace(lanes[0][0], outcome=Sent.DELIVERED))
    assert len(outbox.lanes()) == 1
    assert outbox.was_delivered(lanes[0][0].lane)
    assert logged_incidents(history, 10) == ()
    ballast.unlink()
    assert pen.flush()
    assert pen.problem is None
    with open_history(history.path or Path()) as later:
        assert len(logged_incidents(later, 10)) == 1
        assert len(measurements_of(later, "invented-a")) == 1
        [[left]] = Outbox(Pen(later)).lanes()
        assert left.key == lanes[1][0].key
    [[still]] = outbox.lanes()
    assert still.key == left.key


def test_a_disk_that_stays_full_costs_a_bounded_memory(
    crowded: tuple[History, Path], clock: InventedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest measurements are given up; no incident is."""
    monkeypatch.setattr("arraygauge.history.pen.MOST_HELD", 50)
    history, ballast = crowded
    pen = Pen(history)
    records, measurements = Records(pen, Outbox(pen)), Measurements(pen)
    until_full(pen, Memory(pen, clock))
    _, changes = opened(IncidentBook(), 100.0)
    records.record(changes, words, CHANNELS, moment(100))
    for number in range(100):
        measurements.add([record(2e9 + number)])
    assert pen.missed == 52
    assert MOST_HELD > 50
    ballast.unlink()
    assert pen.flush()
    assert len(logged_incidents(history, 10)) == 1
    assert len(measurements_of(history, "invented-a")) == 48
