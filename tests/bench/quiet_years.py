"""False alarms of drift in simulated quiet years of an array of six drives:
`python -m bench.quiet_years [years]` from tests/. Seeded; some minutes."""

from __future__ import annotations

import sys
from collections.abc import Callable
from random import Random

from unit.judge.passes import HOUR, Room, false_alarms

SUBJECTS = 7
"""Six members and the array itself."""
YEAR_SECONDS = 365 * 86400


def mixed(random: Random, every_seconds: float) -> Room:
    """A relative spread of 0.3 to 2 %, an autocorrelation up to 0.3."""
    return Room(
        spread=0.003 * (0.02 / 0.003) ** random.random(),
        autocorrelation=random.uniform(0, 0.3),
        every_seconds=every_seconds,
    )


def worst(random: Random, every_seconds: float) -> Room:
    return Room(spread=0.02, autocorrelation=0.3, every_seconds=every_seconds)


def alarms_in_year(
    year: int, every_seconds: float, room_of: Callable[[Random, float], Room]
) -> int:
    random = Random(f"{year} {every_seconds} {room_of.__name__}")
    passes = round(YEAR_SECONDS / every_seconds)
    return sum(
        false_alarms(random, room_of(random, every_seconds), passes) for _ in range(SUBJECTS)
    )


def main(years: int) -> None:
    for room_of in (mixed, worst):
        for every_seconds in (HOUR, 900.0):
            alarms = [alarms_in_year(year, every_seconds, room_of) for year in range(years)]
            print(
                f"{room_of.__name__} noise, a pass each {every_seconds:.0f} s, {years} years: "
                f"{sum(alarms)} false alarms, at most {max(alarms)} in a year",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
