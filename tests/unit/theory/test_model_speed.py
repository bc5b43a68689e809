"""The model is quick enough to be asked about every device and every what-if.

10,000 expectations a second of one core on plain bounds and 1,000 with the whole curve are
asked for, and tests/bench/model_speed.py shows them. Here half of that must be reached,
whatever else the machine does.
"""

from __future__ import annotations

from bench.model_speed import bounds_only, per_second, whole_curve


def test_plain_bounds_are_quick() -> None:
    assert per_second(bounds_only, rounds=9) >= 5_000


def test_whole_curves_are_quick() -> None:
    assert per_second(whole_curve, rounds=9) >= 500
