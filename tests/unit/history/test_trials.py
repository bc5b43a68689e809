"""A trial's figures are found again by the array that is then built, whatever it is called."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from arraygauge.history import open_history
from arraygauge.history.trials import (
    Shape,
    has_trials,
    keep_trials,
    shape_of,
    trial_of,
)
from arraygauge.inventory.values import Level
from arraygauge.judge.past_trial import Figure, PastTrial
from arraygauge.theory import SEQUENTIAL_READ, SEQUENTIAL_WRITE
from invented import array, host, member

CHUNK = 64 * 1024


def past(rate: float) -> PastTrial:
    return PastTrial(
        read=Figure(rate=rate, low=rate * 0.98, high=rate * 1.02),
        write=None,
        read_workload=SEQUENTIAL_READ,
        write_workload=SEQUENTIAL_WRITE,
        at_seconds=1.0,
    )


def shape(*drives: str, **changes: object) -> Shape:
    plain = Shape(level=Level.RAID5, layout=None, chunk_bytes=CHUNK, drives=drives)
    return replace(plain, **changes)  # type: ignore[arg-type]


def test_the_array_built_of_the_same_drives_has_its_trials_past(tmp_path: Path) -> None:
    built = array(Level.RAID5, [member(f"sd{n}", n) for n in range(3)], chunk_bytes=CHUNK)
    machine = host([built])
    ids = [each.stable_id for each in machine.devices if each.name != "md0"]
    kept = past(3e8)
    with open_history(tmp_path / "history.sqlite") as history:
        assert not has_trials(history)
        keep_trials(history, [(shape(*reversed(ids)), kept)], 5.0)
        assert has_trials(history)
        found = shape_of(machine, built)
        assert found is not None
        assert trial_of(history, found) == kept


def test_another_shape_has_another_past() -> None:
    keys = {
        each.key
        for each in (
            shape("a", "b", "c"),
            shape("a", "b", "d"),
            shape("a", "b"),
            shape("a", "b", "c", level=Level.RAID0),
            shape("a", "b", "c", chunk_bytes=2 * CHUNK),
            shape("a", "b", "c", layout=0),
        )
    }
    assert len(keys) == 6
    assert shape("c", "b", "a", layout=2).key == shape("a", "b", "c").key


def test_a_later_trial_takes_the_place_of_an_earlier_one(tmp_path: Path) -> None:
    with open_history(tmp_path / "history.sqlite") as history:
        keep_trials(history, [(shape("a", "b", "c"), past(1e8))], 5.0)
        keep_trials(history, [(shape("b", "a", "c"), past(2e8))], 6.0)
        assert trial_of(history, shape("a", "b", "c")) == past(2e8)
