"""The passive watch over many seeds and whole days: `python -m bench.passive_watch` from tests/.

Simulated arrays (unit/judge/passive_machine.py), so what it shows is how the judgement does
on queues, not on drives.
"""

from __future__ import annotations

import sys
import time
from statistics import median

from unit.judge.passive_scenarios import frozen, quiet_day, slowed_path, throttled

SEEDS = range(20)
DAYS = ("turning stripe", "flash stripe", "turning mirror", "flash mirror")


def throttles() -> None:
    found = [throttled(seed) for seed in SEEDS]
    suspected = [one.suspected for one in found if one.suspected is not None]
    alarmed = [one.alarmed for one in found if one.alarmed is not None]
    print(
        f"throttled: {len(suspected)} of {len(found)} suspected, median {median(suspected):.0f} s, "
        f"worst {max(suspected):.0f} s; {len(alarmed)} alarmed, median {median(alarmed):.0f} s, "
        f"worst {max(alarmed):.0f} s; wrong {sum(bool(one.wrong) for one in found)}"
    )
    for seed, one in zip(SEEDS, found, strict=True):
        if one.wrong or one.alarmed is None:
            print("  ", seed, one)


def paths() -> None:
    for known, whole in ((True, False), (False, False), (True, True)):
        found = [slowed_path(seed, known=known, whole=whole) for seed in SEEDS]
        blamed = sum(bool(one.paths) for one in found)
        exact = sum(one.behind in one.paths for one in found)
        wrong = sum(bool(one.drives) for one in found)
        before = sum(bool(one.before) for one in found)
        print(
            f"path of {'all' if whole else 'some'}, {'known' if known else 'unknown'}: blamed in "
            f"{blamed} of {len(found)}, exactly its members in {exact}; a drive in {wrong}; "
            f"anything before the fault in {before}"
        )
        for seed, one in zip(SEEDS, found, strict=True):
            if one.drives or one.behind not in one.paths or one.before:
                print("  ", seed, one)


def freezes() -> None:
    for busy in (True, False):
        alarms, errors = [], []
        for seed in SEEDS:
            length = 4 + seed * 1.37
            found = frozen(seed, length, busy=busy)
            if found is None:
                print("   missed", seed, length)
                continue
            alarms.append(found.alarm)
            errors.append(abs(found.stall.seconds - found.truth))
        print(
            f"freeze, {'busy' if busy else 'little asked'}: {len(alarms)} found; word after "
            f"{median(alarms):.2f} s, worst {max(alarms):.2f} s; length wrong by "
            f"{median(errors):.2f} s, worst {max(errors):.2f} s"
        )


def days() -> None:
    for number, kind in enumerate(DAYS):
        began = time.process_time()
        day = quiet_day(number, kind)
        print(
            f"day of a {kind}: {len(day.accusations)} accusing looks, {day.kinds}, "
            f"{day.requests / 1e6:.1f} million requests, {time.process_time() - began:.0f} s",
            flush=True,
        )
        for moment, one in day.accusations[:5]:
            print("  ", moment, one)


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["throttles", "paths", "freezes", "days"]
    for each in (throttles, paths, freezes, days):
        if each.__name__ in wanted:
            each()
