"""The warden: what it takes for the trial's, and that a trial has one and is alone."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from arraygauge.errors import MachineTroubleError
from arraygauge.trial import warden
from arraygauge.trial.guarded import sole_trial


def md_device(tree: Path, name: str, metadata: str) -> Path:
    """An array as sysfs shows it, by plain files."""
    md = tree / name / "md"
    md.mkdir(parents=True)
    (md / "metadata_version").write_text(f"{metadata}\n")
    (md / "array_state").write_text("clean\n")
    return md / "array_state"


def test_only_arrays_of_its_name_and_without_metadata_are_taken_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(warden, "BLOCK", str(tmp_path))
    own = md_device(tmp_path, "md_agtrial0", "none")
    others = [
        md_device(tmp_path, "md0", "none"),
        md_device(tmp_path, "md_agtrial1", "1.2"),
        md_device(tmp_path, "md_media", "1.2"),
    ]
    assert list(warden.leftovers()) == ["md_agtrial0"]
    assert warden.take_down(0.2) == ("md_agtrial0",)  # a plain file does not go away
    assert own.read_text().startswith("clear")
    assert all(each.read_text() == "clean\n" for each in others)


def test_a_trial_has_a_warden_that_ends_with_it_and_no_second_beside_it(tmp_path: Path) -> None:
    with sole_trial(tmp_path):
        children = _wardens()
        assert children
        with pytest.raises(MachineTroubleError, match="another trial"), sole_trial(tmp_path):
            pass
    deadline = time.monotonic() + 10
    while any(Path(f"/proc/{each}").exists() for each in children):
        assert time.monotonic() < deadline
        time.sleep(0.02)
    with sole_trial(tmp_path):
        pass


def test_a_warden_that_was_ended_is_started_again(tmp_path: Path) -> None:
    with sole_trial(tmp_path) as guard:
        [first] = _wardens()
        os.kill(first, 9)
        deadline = time.monotonic() + 10
        while not set(_wardens()) - {first}:
            assert time.monotonic() < deadline
            guard.ensure()
            time.sleep(0.02)


def test_the_lock_of_a_killed_trial_is_held_until_its_warden_is_done(tmp_path: Path) -> None:
    script = (
        "import os, sys, time; from pathlib import Path\n"
        "from arraygauge.trial.guarded import sole_trial\n"
        f"with sole_trial(Path({str(tmp_path)!r})):\n"
        "    print('held', flush=True); time.sleep(600)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script],
        stdout=subprocess.PIPE,
        text=True,
    ) as trial:
        assert trial.stdout is not None
        assert trial.stdout.readline() == "held\n"
        trial.kill()
        trial.wait()
    began = time.monotonic()
    with sole_trial(tmp_path):
        assert time.monotonic() - began < 10


def _wardens() -> list[int]:
    """Children of this process that are wardens."""
    found = []
    for task in Path("/proc").iterdir():
        if task.name.isdecimal():
            try:
                parent = int((task / "stat").read_text().rpartition(")")[2].split()[1])
                words = (task / "cmdline").read_bytes()
            except (OSError, ValueError):
                continue
            if parent == os.getpid() and b"arraygauge.trial.warden" in words:
                found.append(int(task.name))
    return found
