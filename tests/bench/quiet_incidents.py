"""False incidents of whole passes in simulated quiet years of a stripe of six, by peers, theory and
drift together: `python -m bench.quiet_incidents [years]` from tests/. Seeded; a minute a year."""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from random import Random

from arraygauge.judge.drifting import DriftMemory, observe_drift
from arraygauge.judge.findings import Matter
from arraygauge.judge.incidents import ChangeKind, IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.strays import strays_of
from invented import measured
from unit.judge.drifting_machine import HOUR, Machine
from unit.judge.passes import RATE, Room, readings

NAMES = ("sda", "sdb", "sdc", "sdd", "sde", "sdf")
PASSES = 365 * 24
SPREADS = (0.005, 0.01, 0.015, 0.02)


def incidents_in_year(year: int, room: Room) -> Counter[str]:
    """How many were opened, by origin and matter."""
    random = Random(f"{year} {room}")
    machine = Machine(names=NAMES)
    noise = {name: readings(random, room) for name in (*NAMES, "md0")}
    book, memory, opened = IncidentBook(), DriftMemory(), Counter[str]()
    for index in range(PASSES):
        rates = {name: next(each).bytes_per_second for name, each in noise.items()}
        rates["md0"] *= min(rates[name] for name in NAMES) / RATE * len(NAMES)
        machine.passes = index
        attempts = {
            name: replace(measured(name, rate), started_at_seconds=machine.moment)
            for name, rate in rates.items()
        }
        status = machine.judged(attempts)
        drift, memory = observe_drift(status, memory)
        slower = {each.cause.stable_id for each in drift.findings if each.matter is Matter.DRIFT}
        strays = strays_of(status, memory.watched)
        for observation in (observe_status(status, slower, strays), drift):
            book, changes = advance(book, observation, index * HOUR)
            opened.update(
                f"{change.incident.finding.origin}: {change.incident.finding.matter}"
                for change in changes
                if change.kind in (ChangeKind.OPENED, ChangeKind.REOPENED)
            )
    return opened


def main(years: int) -> None:
    for spread in SPREADS:
        found = [incidents_in_year(year, Room(spread=spread)) for year in range(years)]
        total = sum(found, Counter[str]())
        print(
            f"spread {100 * spread:g} %, {years} years: {total.total()} false incidents, at most "
            f"{max(each.total() for each in found)} in a year; {dict(total)}",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
