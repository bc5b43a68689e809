"""A pass holds each array against the trial of its drives, where the history has one."""

from __future__ import annotations

from pathlib import Path

import pytest

from arraygauge.history import History, HistoryError, open_history
from arraygauge.history.problems import HistoryProblem
from arraygauge.history.trials import Shape, keep_trials
from arraygauge.inventory.values import Level
from arraygauge.judge import ArrayVerdict, Grounds, Pace, assess_array
from arraygauge.judge.past_trial import Figure, PastTrial
from arraygauge.service import past_trials
from arraygauge.service.past_trials import beside_trials
from arraygauge.theory import SEQUENTIAL_READ, SEQUENTIAL_WRITE
from invented import array, host, measured, member

TOLERANCES = Grounds().tolerances
NAMES = ("sdb", "sdc", "sdd")
STRIPE = array(Level.RAID0, [member(name, slot) for slot, name in enumerate(NAMES)])
HOST = host([STRIPE])
TRIAL = PastTrial(
    read=Figure(rate=300e6),
    write=Figure(rate=200e6),
    read_workload=SEQUENTIAL_READ,
    write_workload=SEQUENTIAL_WRITE,
    at_seconds=1.0,
)


def verdict() -> ArrayVerdict:
    """Drives that are all half as fast as they were."""
    attempts = {name: measured(name, 50e6) for name in NAMES} | {"md0": measured("md0", 150e6)}
    return assess_array(HOST, STRIPE, attempts, Grounds())


def test_the_trial_of_its_own_drives_and_no_other_is_what_it_is_held_against(
    tmp_path: Path,
) -> None:
    ids = tuple(each.stable_id for each in HOST.devices if each.name in NAMES)
    own = Shape(level=Level.RAID0, layout=None, chunk_bytes=STRIPE.chunk_bytes, drives=ids)
    other = Shape(level=Level.RAID5, layout=None, chunk_bytes=STRIPE.chunk_bytes, drives=ids)
    with open_history(tmp_path / "history.sqlite") as history:
        assert beside_trials(history, HOST, (verdict(),), TOLERANCES) == (verdict(),)
        keep_trials(history, [(other, TRIAL)], 1.0)
        assert beside_trials(history, HOST, (verdict(),), TOLERANCES) == (verdict(),)
        keep_trials(history, [(own, TRIAL)], 1.0)
        [found] = beside_trials(history, HOST, (verdict(),), TOLERANCES)
    assert found.since_trial is not None
    assert found.since_trial.past == TRIAL
    assert found.pace is Pace.SHORT


def test_a_history_that_cannot_be_read_changes_no_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def unreadable(history: History) -> bool:
        raise HistoryError(HistoryProblem.DENIED, f"{history.path}: not readable", "let it be")

    monkeypatch.setattr(past_trials, "has_trials", unreadable)
    with open_history(tmp_path / "history.sqlite") as history:
        assert beside_trials(history, HOST, (verdict(),), TOLERANCES) == (verdict(),)
    assert "not held against their trials" in caplog.text
