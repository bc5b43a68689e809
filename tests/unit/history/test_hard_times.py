"""Kills at random moments and disks that are full: no acknowledged row is ever lost."""

from __future__ import annotations

import os
import random
import resource
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from arraygauge.history import HistoryError, HistoryProblem, Ledger, open_history
from arraygauge.probe.budget import DAY_SECONDS, BudgetLimits, Charge
from unit.history.conftest import InventedClock
from unit.small_disk import fill

KILLS = 50
WRITER = """
import sys
from pathlib import Path
from arraygauge.history import Ledger, open_history, system_clock
from arraygauge.probe.budget import Charge


ledger = Ledger(open_history(Path(sys.argv[1])), system_clock(None))
number = int(sys.argv[2])
while True:
    device = f"device {number}"
    token = ledger.reserve([Charge(device_id=device, read_bytes=1000)])
    print("reserved", number, flush=True)
    ledger.settle(token, [Charge(device_id=device, read_bytes=1)])
    print("settled", number, flush=True)
    if number % 7 == 0:
        ledger.prune()
    number += 1
"""


def killed_writer(path: Path, first: int, seconds: float) -> list[str]:
    """What a writer acknowledged before it was killed, so many seconds after its first row."""
    child = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(first)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    with child.stdout:
        lines = [child.stdout.readline()]
        time.sleep(seconds)
        child.kill()
        lines += child.stdout.readlines()
    child.wait()
    return [line for line in lines if line.endswith("\n")]


def test_no_acknowledged_row_is_lost_to_a_kill(path: Path) -> None:
    """kill -9 at 50 random moments of one file's life, each after some rows of its own."""
    chance = random.Random(20261125)
    acknowledged: dict[int, str] = {}
    for _ in range(KILLS):
        for line in killed_writer(path, len(acknowledged), chance.uniform(0, 0.03)):
            what, number = line.split()
            acknowledged[int(number)] = what
    connection = sqlite3.connect(path)
    [(verdict,)] = connection.execute("PRAGMA integrity_check")
    found = dict(
        connection.execute(
            "SELECT stable_id, read_bytes FROM spending JOIN device ON device.id = spending.device"
        )
    )
    connection.close()
    assert verdict == "ok"
    assert len(acknowledged) >= KILLS
    for row, what in acknowledged.items():
        expected = {1} if what == "settled" else {1, 1000}
        assert found[f"device {row}"] in expected


def test_a_full_disk_is_outlived(small_disk: Path, clock: InventedClock) -> None:
    """What could not be written is counted all the same, and written when there is room."""
    path = small_disk / "history.sqlite"
    limits = BudgetLimits(hour_bytes=1000)
    with open_history(path) as history:
        ledger = Ledger(history, clock)
        token = ledger.reserve([Charge(device_id="a", read_bytes=100)])
        assert token is not None
        ballast = small_disk / "ballast"
        fill(ballast)
        ledger.settle(token, [Charge(device_id="a", read_bytes=90)])
        number = 0
        while ledger.problem is None:  # the log's last page may have room for a row or two
            number += 1
            ledger.reserve([Charge(device_id="b" * 3000 + str(number), read_bytes=1)])
        assert ledger.problem.kind is HistoryProblem.FULL
        assert str(path) in ledger.problem.message
        assert ledger.problem.remedy
        assert ledger.reserve([Charge(device_id="a", read_bytes=800)], limits) is not None
        assert ledger.reserve([Charge(device_id="a", read_bytes=800)], limits) is None
        assert sum(each.read_bytes for each in ledger.spent_since("a", DAY_SECONDS)) == 890
        ledger.prune()
        ballast.unlink()
        assert ledger.reserve([Charge(device_id="a", read_bytes=10)], limits) is not None
        assert ledger.problem is None
    with open_history(path) as later:
        entries = Ledger(later, clock).spent_since("a", DAY_SECONDS)
        assert sorted(each.read_bytes for each in entries) == [10, 90, 800]


def test_a_disk_full_from_the_start_is_named(small_disk: Path) -> None:
    fill(small_disk / "ballast")
    with pytest.raises(HistoryError, match=r"history\.sqlite") as caught:
        open_history(small_disk / "history.sqlite")
    assert caught.value.kind is HistoryProblem.FULL


def test_a_disk_that_became_full_since_the_last_run_is_named(small_disk: Path) -> None:
    """The history is there, but no file can be made beside it."""
    path = small_disk / "history.sqlite"
    open_history(path).close()
    fill(small_disk / "ballast")
    with pytest.raises(HistoryError, match=r"history\.sqlite") as caught:
        open_history(path)
    assert caught.value.kind is HistoryProblem.FULL


def test_a_read_only_filesystem_is_named(small_disk: Path) -> None:
    path = small_disk / "history.sqlite"
    open_history(path).close()
    remount = ["mount", "-o", "remount,ro", str(small_disk)]
    subprocess.run(remount, check=True)
    with pytest.raises(HistoryError, match=r"history\.sqlite") as caught:
        open_history(path)
    assert caught.value.kind is HistoryProblem.DENIED


def test_a_directory_this_user_may_not_write_is_named(tmp_path: Path) -> None:
    """As a user without rights: root is stopped by no mode."""
    if os.geteuid() != 0:
        pytest.skip("only root can become somebody else")
    folder = tmp_path / "theirs"
    folder.mkdir(mode=0o700)
    script = (
        "import os, sys\nfrom pathlib import Path\n"
        "from arraygauge.history import HistoryError, open_history\n"
        "os.chdir('/')\nos.setgroups([])\nos.setgid(65534)\nos.setuid(65534)\n"
        "try:\n    open_history(Path(sys.argv[1]))\n"
        "except HistoryError as error:\n    print(error.kind)\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", script, str(folder / "history.sqlite")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout == "denied\n"


def test_a_file_that_may_not_grow_is_outlived_too(path: Path) -> None:
    """RLIMIT_FSIZE, setrlimit(2): what a quota does, without a filesystem of one's own."""
    script = WRITER.replace(
        "while True:",
        "for number in range(400):",
    ).replace("    number += 1\n", "")
    script += "print('problem', ledger.problem.kind, flush=True)\n"
    script += "print('counted', len(ledger.spent_since('device 399', 3600)), flush=True)\n"
    told = subprocess.run(
        [sys.executable, "-c", script, str(path), "0"],
        capture_output=True,
        text=True,
        check=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000)),
    )
    assert told.stdout.splitlines()[-2:] == ["problem failed", "counted 1"]
    with open_history(path) as history, history.reading() as connection:
        assert history.notes == ()
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
