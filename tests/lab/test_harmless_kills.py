"""Kills at any moment leave no process, no file and no changed byte.

``ARRAYGAUGE_KILLS`` is how many there are.
"""

from __future__ import annotations

import os
import random
import time
from collections import Counter
from collections.abc import Callable
from signal import SIGKILL

import pytest

from lab.agent import CONFIG, SHORT_BURSTS, check
from lab.guest import Guest
from lab.harm import (
    FILLED,
    MACHINE,
    OWN_FILE,
    RECORD,
    STATE,
    assert_nothing_runs,
    files,
    filled,
    own_file_config,
    processes,
    with_own_files,
)
from lab.machine import Machine

pytestmark = pytest.mark.lab

KILLS = int(os.environ.get("ARRAYGAUGE_KILLS", "6"))
SEED = int(os.environ.get("ARRAYGAUGE_KILLS_SEED", "1"))
LONGEST_SECONDS = 7.0
"""In which any of it has come to an end, or to its reading again and again."""
MEASURED = ("completed", "budget spent")
ELSEWHERE = ("/tmp", "/run", "/dev/shm", "/var/tmp")
CHECK_RECORD = (
    "import sqlite3; print(*sqlite3.connect('/var/lib/arraygauge/history.sqlite')"
    ".execute('PRAGMA integrity_check').fetchone())"
)


def kill(guest: Guest, arguments: tuple[str, ...], after_seconds: float) -> str:
    """Kills the agent so long after its start: what it was doing just then."""
    agent = guest.start_module("arraygauge", "--config", CONFIG, *arguments)
    time.sleep(after_seconds)
    doing = " ".join(processes(guest))
    agent.signal(SIGKILL)
    status = agent.wait(10).status
    assert_nothing_runs(guest)
    if status != -SIGKILL:
        return "had ended"
    if "children.reading" in doing:
        return "reading a device"
    if "children.writing" in doing:
        return "making its file"
    return "reading the kernel's files" if doing else "by itself"


@pytest.mark.timeout(240 + 15 * KILLS)
def test_after_kills_nothing_is_left_and_nothing_has_changed(
    boot_lab: Callable[[Machine], Guest],
) -> None:
    """`check` and `run` are killed in turn, and a `check` that makes its own file."""
    guest, chance = boot_lab(MACHINE), random.Random(SEED)
    with filled(guest), with_own_files(guest) as (name, directory):
        guest.write(CONFIG, own_file_config(directory) + "[run]\ninterval_seconds = 1\n")
        own = f"{directory}/{OWN_FILE}"
        before = files(guest, *ELSEWHERE)
        killed: Counter[str] = Counter()
        for number in range(KILLS):
            arguments = (("check", FILLED.name), ("run",), ("check", name))[number % 3]
            if number % 3 == 2:
                guest.run(["rm", "-f", own]).checked()
            killed[kill(guest, arguments, chance.uniform(0, LONGEST_SECONDS))] += 1
            killed["its file half made"] += bool(files(guest, directory) - {own})
        print("killed while", *(f"{doing}: {count};" for doing, count in sorted(killed.items())))
        _, document = check(guest, FILLED.name, name, config=own_file_config(directory))
        found = (*document["arrays"], *document["devices"])
        assert {each["measured"]["outcome"] for each in found} <= set(MEASURED)
        unhurried = own_file_config(directory, SHORT_BURSTS)  # a slow host gets to read, too
        _, document = check(guest, name, config=unhurried)
        [of_own_file] = document["devices"]
        assert of_own_file["measured"]["bytes_per_second"] > 0  # no zeros, half a file or none
        assert guest.run(["python", "-c", CHECK_RECORD]).stdout == "ok\n"
        assert files(guest, directory) == {own}
        assert files(guest, STATE) <= RECORD
        assert files(guest, *ELSEWHERE) == before
