"""The sentinel on a real md kernel: it tells of each change at once, and of nothing at rest."""

from __future__ import annotations

import json
from collections.abc import Callable
from statistics import median
from typing import Any

import pytest

from lab.guest import Guest
from lab.machine import MIB, ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

MIRRORED = ("alder", "birch", "cedar", "dogwood", "elder", "fir", "gorse")
LOOSE = ("hazel", "ivy", "juniper", "kapok")
UNPLUGGED = "larch"
MACHINE = Machine(
    drives=(
        *(
            Drive(name=name, transport=transport, bytes_per_second=20_000_000, size_bytes=64 * MIB)
            for names, transport in (
                (MIRRORED, Transport.VIRTIO),
                (LOOSE, Transport.AHCI),
                ((UNPLUGGED,), Transport.NVME),
            )
            for name in names
        ),
    ),
    arrays=(ArraySpec(name="md0", level="raid1", members=MIRRORED, chunk_bytes=0),),
)
CYCLES = 5
MEDIAN_MILLISECONDS = 100

Boot = Callable[[Machine], Guest]
Report = dict[str, Any]


def test_every_change_is_told_within_a_tenth_of_a_second_and_rest_is_silent(
    boot_lab: Boot,
) -> None:
    """Members fail, drives go, a stripe starts and stops; 0.02 s of it is waiting for the
    rest of a burst. The bound is the one this project sets itself."""
    guest = boot_lab(MACHINE)
    loose = [guest.device(name) for name in LOOSE]
    words = [f"fail={guest.device(name)}" for name in MIRRORED[1:]]
    words += [f"cycle={loose[0]},{loose[1]}"] * CYCLES
    words += [f"delete={device}" for device in loose]
    watcher = guest.start(
        f"PYTHONPATH=tests exec python -m lab.event_watcher md0 {' '.join(words)}"
    )
    reports = told(watcher.wait_for_output('"rest"', 180))
    for what, count in (("fail", 6), ("start", CYCLES), ("stop", CYCLES), ("delete", 4)):
        times = [report["milliseconds"] for report in reports if report["what"] == what]
        assert len(times) == count
        assert None not in times, [report for report in reports if report["what"] == what]
        print(what, "ms:", *(round(milliseconds, 1) for milliseconds in sorted(times)))
        assert median(times) <= MEDIAN_MILLISECONDS
    assert reports[-1] == {"what": "rest", "told": [], "wakes": 0}
    guest.unplug(UNPLUGGED)
    name = guest.device(UNPLUGGED)
    watcher.wait_for_output(f"block {name} remove", 30)
    watcher.kill()


def told(output: str) -> list[Report]:
    return [json.loads(line) for line in output.splitlines()]
