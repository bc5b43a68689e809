"""`arraygauge trial` as typed: mistakes are answered before anything is looked at or made."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest


def trial(state: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "arraygauge", "trial", *arguments],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env=os.environ | {"STATE_DIRECTORY": str(state)},
        check=False,
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--chunk", "48 KiB"), "power of two"),
        (("--chunk", "much"), "is not a size"),
        (("--most", "1 MiB"), "at least 16 MiB"),
        (("--level", "raid7"), "raid7"),
        (("--members", "1"), "2<=x<=64"),
        (("--places", "0"), "1<=x<=64"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    done = trial(tmp_path / "state", *arguments, "serial-none")
    assert done.returncode == 2
    assert words in done.stderr


def test_without_a_drive_or_without_md_nothing_is_made_and_a_remedy_is_told(
    tmp_path: Path,
) -> None:
    for arguments in ((), ("serial-none",)):
        done = trial(tmp_path / "state", *arguments)
        assert done.returncode in (1, 2)
        assert "remedy:" in done.stderr
        assert "Traceback" not in done.stderr
        assert not (tmp_path / "state" / "trials.jsonl").exists()


def test_the_help_says_that_it_erases(tmp_path: Path) -> None:
    assert "ERASES THEM" in trial(tmp_path, "--help").stdout
