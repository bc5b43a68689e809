"""Faults that make an agent busy with an invented machine: a new incident at every look, a
pass that measures something a hundred times a second. Used as the ``fault`` of an ``Agent``."""

from __future__ import annotations

from pathlib import Path

from unit.service.invented_process import command

TESTS = Path(__file__).parents[2]

_HOST = """
def failing(number):
    from arraygauge.inventory.values import Level
    from invented import FAILED, array, drive, host, member
    a, b = f"sda{number}", f"sdb{number}"
    held = array(
        Level.RAID1, [member(a, 0), member(b, **FAILED)], raid_disks=2,
        name=f"md{number}", stable_id=f"invented-md{number}",
    )
    return host([held], [drive(a), drive(b)])
"""
INVENTORY = command(
    "if asked == 'host':",
    *(f"    {line}" for line in _HOST.strip().splitlines()),
    "    tell(failing(int(time.monotonic() * 20)))",
)

BUSY = f"""
import functools, itertools, os, time
from arraygauge.cli import run
from arraygauge.judge import Grounds, Status, assess_device
from arraygauge.service import passes, survey, watching
from invented import drive, host, measured

watching.LOOK_SECONDS = watching.SECOND_LOOK_SECONDS = 0.02
passes.Passes._interval = property(lambda self: 0.01)
run.Setting = functools.partial(run.Setting, command={INVENTORY!r})
first = int(time.monotonic() * 1000)
rates = itertools.count(first)

def survey_nothing(self, **more):
    alone = drive("sda")
    machine = host([], [alone])
    rate = float(next(rates))
    made = measured("sda", rate)
    from dataclasses import replace
    made = replace(made, started_at_seconds=time.time())
    verdict = assess_device(machine, alone, made, {{}}, Grounds())
    return Status(host=machine, arrays=(), devices=(verdict,), seconds=0.0)

survey.Surveyor.survey = survey_nothing
run.show = lambda status: print(
    "kept", status.devices[0].attempt.bytes_per_second, flush=True
)
"""
"""It prints 'kept RATE' once a measurement with that rate was written down."""
