"""False incidents of whole passes in simulated quiet years of a stripe of six, by peers, theory and
drift together: `python -m bench.quiet_incidents [years]` from tests/. Seeded; a minute a year."""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from random import Random

from invented import measured
from unit.judge.drifting_machine import HOUR, Machine, Told
from unit.judge.passes import RATE, Room, readings

NAMES = ("sda", "sdb", "sdc", "sdd", "sde", "sdf")
PASSES = 365 * 24
SPREADS = (0.005, 0.01, 0.015, 0.02)


def incidents_in_year(year: int, room: Room) -> Counter[str]:
    """How many were opened, by origin and matter."""
    random = Random(f"{year} {room}")
    machine = Machine(names=NAMES)
    noise = {name: readings(random, room) for name in (*NAMES, "md0")}
    told = Told()
    for index in range(PASSES):
        rates = {name: next(each).bytes_per_second for name, each in noise.items()}
        rates["md0"] *= min(rates[name] for name in NAMES) / RATE * len(NAMES)
        machine.passes = index
        attempts = {
            name: replace(measured(name, rate), started_at_seconds=machine.moment)
            for name, rate in rates.items()
        }
        told.see(machine.judged(attempts), index * HOUR)
    return told.opened


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
