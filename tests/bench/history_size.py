"""How large a year is: `python -m bench.history_size [FILE]` from tests/.

An invented workstation of 12 drives in two arrays: a pass every hour, the state of the agent
remembered after each, upkeep once a day; a day's worth of incidents each week. The raw part of
the year is 90 days, as in life.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path

from arraygauge.history import (
    Channel,
    MeasurementRecord,
    Measurements,
    Memory,
    Moment,
    Outbox,
    Pen,
    Records,
    open_history,
)
from arraygauge.history.days import DAY_SECONDS
from arraygauge.judge.charts import CusumState
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.tell.incident_json import words_for

BODIES = tuple(f"invented-wwn-0x5000c500{number:08x}" for number in range(14))
BEGIN = 1_700_000_000.0
INCIDENTS_A_WEEK = 5


def record(stable_id: str, number: int, at: float, chance: random.Random) -> MeasurementRecord:
    rate = chance.gauss(180e6, 3e6)
    return MeasurementRecord(
        stable_id=stable_id,
        name=f"sd{chr(97 + number)}",
        workload="read-sequential-1048576-8",
        started_at_seconds=at + number * 3.1,
        outcome="completed",
        bytes_read=300_000_000 + chance.randrange(10**6),
        seconds=chance.uniform(1.5, 2.5),
        rate=rate,
        low=rate * 0.98,
        high=rate * 1.02,
        floor=170e6 + chance.random(),
        ceiling=185e6 + chance.random(),
        ratio=rate / 185e6,
        temperature_celsius=chance.uniform(30, 45),
        pace="as expected",
        cause=None,
    )


def main(path: Path, passes_a_day: int = 24) -> int:
    """Writes the year; the size of the file in bytes."""
    chance = random.Random(7)
    with open_history(path) as history:
        pen = Pen(history)
        now = [BEGIN]

        def clock() -> Moment:
            return Moment(wall_seconds=now[0], uptime_seconds=now[0] - BEGIN, boot_id="invented")

        measurements, memory = Measurements(pen), Memory(pen, clock)
        records, book = Records(pen, Outbox(pen)), IncidentBook()
        for day in range(365):
            for hour in range(passes_a_day):
                now[0] = BEGIN + day * DAY_SECONDS + hour * DAY_SECONDS / passes_a_day
                measurements.add(
                    record(each, number, now[0], chance) for number, each in enumerate(BODIES)
                )
                states = {each: CusumState(above=chance.random()) for each in BODIES}
                memory.remember("charts", states, dict[str, CusumState])
            measurements.prune()
            if day % 7 == 0:
                for index in range(INCIDENTS_A_WEEK):
                    book = trouble(records, book, clock(), index)
    return path.stat().st_size


def trouble(records: Records, book: IncidentBook, now: Moment, index: int) -> IncidentBook:
    """One incident from beginning to end, told to two channels."""
    found = Finding(
        origin=Origin.STATE,
        cause=Cause(stable_id=BODIES[index], name="sdc"),
        matter=Matter.NO_REDUNDANCY,
        severity=Severity.CRITICAL,
        arrays=("md0",),
        signature="none left",
        facts=None,
    )
    channels = (Channel(name="journal"), Channel(name="webhook"))
    for step, findings in enumerate(((found,), (), ())):
        at = now.uptime_seconds + step * 5
        observation = Observation(origin=Origin.STATE, findings=findings)
        book, changes = advance(book, observation, at)
        records.record(
            changes,
            lambda change: words_for("invented", lambda moment: BEGIN + moment, change),
            channels,
            now,
        )
    return book


if __name__ == "__main__":
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "history.sqlite"
        per_day = int(sys.argv[2]) if len(sys.argv) > 2 else 24
        size = main(path, per_day)
    print(f"{per_day} passes a day: {size / 1e6:.2f} MB after a year", end="")
    print(f", written in {time.monotonic() - began:.0f} s")
