"""The command line as a script sees it: exit status, messages, help."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.cli.status import Exit, exit_status
from arraygauge.inventory.values import Level
from arraygauge.judge import Grounds, Pace, Status, assess_array
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from invented import FAILED, array, host, measured, member
from unit.judge.test_writes import judged, wrote


def arraygauge(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "arraygauge", *words],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_help_lists_the_commands() -> None:
    done = arraygauge("--help")
    assert done.returncode == 0
    assert all(name in done.stdout for name in ("check", "inventory", "run"))


def test_help_of_check_documents_every_exit_status() -> None:
    lines = [line.split() for line in arraygauge("check", "--help").stdout.splitlines()]
    documented = {words[0] for words in lines if words}
    assert {str(status.value) for status in Exit} <= documented


def test_a_mistyped_command_is_corrected() -> None:
    done = arraygauge("chek")
    assert done.returncode == Exit.USAGE_ERROR
    assert "did you mean 'check'?" in done.stderr


def test_an_unknown_device_is_named_with_what_there_is() -> None:
    done = arraygauge("check", "nosuchdisk")
    assert done.returncode == Exit.USAGE_ERROR
    assert "nosuchdisk: this machine has no such array or block device" in done.stderr
    assert "Traceback" not in done.stderr


def test_an_unknown_configuration_key_is_named(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text("[probe]\nsecond = 1\n")
    done = arraygauge("--config", str(path), "check")
    assert done.returncode == Exit.USAGE_ERROR
    assert f"{path}, line 2: probe.second" in done.stderr
    assert "did you mean 'max_seconds'?" in done.stderr


def test_nothing_is_written_where_no_directory_was_named(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text("")
    done = arraygauge("--config", str(path), "check", "--write")
    assert done.returncode == Exit.USAGE_ERROR
    assert "directories of [write_probe]" in done.stderr


WHOLE = array(Level.RAID5, [member(name, slot) for slot, name in enumerate(("vdb", "vdc", "vdd"))])
DEGRADED = array(
    Level.RAID5,
    [member("vdb", 0), member("vdc", 1), member("vdd", **FAILED)],
    raid_disks=3,
    degraded=1,
)


@pytest.mark.parametrize(
    ("level_array", "rate", "expected"),
    [
        (WHOLE, 60e6, Exit.FINE),
        (WHOLE, 20e6, Exit.SHORT),
        (DEGRADED, 40e6, Exit.DEGRADED),
        (WHOLE, None, Exit.NOT_MEASURED),
    ],
)
def test_exit_status_tells_the_worst_news(
    level_array: object, rate: float | None, expected: Exit
) -> None:
    assert isinstance(level_array, type(WHOLE))
    machine = host([level_array])
    attempts: dict[str, Attempt] = {n: measured(n, 20e6) for n in ("vdb", "vdc", "vdd")}
    attempts["md0"] = (
        measured("md0", rate)
        if rate is not None
        else Skipped(device="md0", reason=SkipReason.NOT_RUNNING, detail="stopped")
    )
    verdict = assess_array(machine, level_array, attempts, Grounds())
    status = Status(host=machine, arrays=(verdict,), devices=(), seconds=1.0)
    assert exit_status(status) is expected


@pytest.mark.parametrize(
    ("pace", "expected"),
    [
        (Pace.AS_EXPECTED, Exit.FINE),
        (Pace.NO_REFERENCE, Exit.FINE),
        (Pace.SHORT, Exit.SHORT),
        (Pace.NOT_MEASURED, Exit.NOT_MEASURED),
    ],
)
def test_writes_count_as_reads_do(pace: Pace, expected: Exit) -> None:
    written = replace(judged(wrote(1e8)), pace=pace)
    status = Status(host=host(), arrays=(), devices=(), seconds=1.0, writes=(written,))
    assert exit_status(status) is expected
