"""A plan for 24 drives is made within a second of one core: all levels, six chunks.

The quickest of several rounds is judged, each from empty caches as a command begins: what else
runs on the host only ever takes time, never gives any. tests/bench/plan_speed.py prints more.
"""

from __future__ import annotations

import pytest

from arraygauge.theory.plan import Scope
from bench.plan_speed import seconds_of, supply


def test_arrays_of_all_24_drives_of_every_level_and_chunk() -> None:
    taken = seconds_of(supply(24, disk=True), Scope(widths=(23, 24)), rounds=3)
    assert min(taken) <= 1.0


@pytest.mark.measures
def test_arrays_of_2_to_24_drives_of_every_level_and_chunk() -> None:
    taken = seconds_of(supply(24, disk=False), Scope(), rounds=12)
    assert min(taken) <= 1.0
