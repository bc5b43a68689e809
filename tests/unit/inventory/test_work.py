"""Processor time of a process, as the kernel counts it."""

from __future__ import annotations

import os
import subprocess
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.work import parse_ticks, worked_seconds

STAT = (
    "4711 (a (b) c) S 1 4711 4711 0 -1 4194560 1000 0 0 0 75 12 3 4 20 0 1 0 100 0 0 "
    "18446744073709551615"
)
"""As proc(5) lays it out; invented."""


def test_user_and_system_time_are_taken_together() -> None:
    assert parse_ticks(STAT) == 75 + 12


@pytest.mark.parametrize("line", ["", "4711 (x", "4711 (x) S 1 2", STAT.replace("75", "-75")])
def test_a_line_without_them_gives_nothing(line: str) -> None:
    assert parse_ticks(line) is None


@given(st.text())
def test_no_line_is_too_strange(line: str) -> None:
    ticks = parse_ticks(line)
    assert ticks is None or ticks >= 0


def test_it_grows_with_work_as_the_c_library_says() -> None:
    before, since = worked_seconds(os.getpid()), time.process_time()
    assert before is not None
    while time.process_time() - since < 0.1:
        pass
    after = worked_seconds(os.getpid())
    assert after is not None
    assert after - before == pytest.approx(time.process_time() - since, abs=0.03)


def test_a_process_that_is_no_more_has_none() -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    assert worked_seconds(ended.pid) is None
