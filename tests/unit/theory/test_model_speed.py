"""The model is quick enough to be asked about every device and every what-if.

10,000 expectations a second of one core on plain bounds and 1,000 with the whole curve are
asked for, and tests/bench/model_speed.py shows what this machine gives. Here half of that must
be reached in the quickest of the rounds: what else runs on the host only ever takes time, never
gives any.
"""

from __future__ import annotations

from bench.model_speed import bounds_only, rates, whole_curve


def test_plain_bounds_are_quick() -> None:
    assert max(rates(bounds_only, rounds=60)) >= 5_000


def test_whole_curves_are_quick() -> None:
    assert max(rates(whole_curve, rounds=20)) >= 500
