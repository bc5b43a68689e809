"""Stalls are kept in milliseconds and frames, and not for ever."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.history import Pen, open_history, stalls
from arraygauge.history.stalls import StallRecord, Stalls, stalls_of

PLAIN = StallRecord(
    stable_id="invented-sda",
    name="sda",
    began_at_seconds=1_800_000_000.0,
    milliseconds=417,
    error_milliseconds=80,
    in_flight=3,
    hang=False,
    frames_per_second=24.0,
)


def test_what_is_added_is_read_back_by_drive_and_by_time(tmp_path: Path) -> None:
    other = replace(PLAIN, stable_id="invented-sdb", name="sdb", began_at_seconds=1.8e9 + 60)
    with open_history(tmp_path / "history.sqlite") as history:
        assert Stalls(Pen(history)).add([other, PLAIN])
        assert stalls_of(history, None) == (PLAIN, other)
        assert stalls_of(history, "invented-sdb") == (other,)
        assert stalls_of(history, None, since_seconds=1.8e9 + 30) == (other,)
        assert stalls_of(history, "nobody") == ()


def test_frames_are_of_the_rate_declared_at_the_time() -> None:
    """24 frames a second is 41.7 ms a frame: 417 ms are ten frames."""
    assert PLAIN.frames == pytest.approx(10.0, abs=0.01)
    assert replace(PLAIN, milliseconds=1000, frames_per_second=60.0).frames == 60.0


def test_only_the_newest_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stalls, "KEPT_STALLS", 20)
    with open_history(tmp_path / "history.sqlite") as history:
        keeping = Stalls(Pen(history))
        for number in range(50):
            keeping.add([replace(PLAIN, began_at_seconds=1.8e9 + number)])
        kept = stalls_of(history, None)
    assert [each.began_at_seconds - 1.8e9 for each in kept] == list(range(30, 50))
