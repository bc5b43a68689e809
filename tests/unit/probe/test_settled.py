"""Rates of devices read together, found from their bytes over time: arithmetic, no source."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.settled import Mark, settled_rates
from arraygauge.units import MIB


def steady(
    rate: float, until: float, start: float = 0.0, gulp: int = 0, spread: float = 0.0
) -> list[Mark]:
    """Transfers of 1 MiB at a steady rate, after a gulp that came at once; each may be late
    by up to ``spread`` transfers."""
    chance = Random(1)
    times = [start] * gulp
    count = int((until - start) * rate / MIB)
    times += [start + (turn + 1 + chance.uniform(0, spread)) * MIB / rate for turn in range(count)]
    return [(moment, (turn + 1) * MIB) for turn, moment in enumerate(sorted(times))]


def test_a_gulp_at_the_beginning_is_left_out() -> None:
    progress = {"a": steady(50e6, 1.0, gulp=10), "b": steady(30e6, 1.0, gulp=10)}
    settled = settled_rates(progress)
    assert settled is not None
    assert settled.rates == pytest.approx({"a": 50e6, "b": 30e6}, rel=0.005)
    assert settled.seconds < 0.97


def test_a_drive_that_first_has_to_wake_is_counted_from_then() -> None:
    """Half its rate for three tenths of the time, as a disk that seeks or a link that wakes."""
    slow = steady(25e6, 0.3)
    wakes = slow + [(0.3 + at, slow[-1][1] + size) for at, size in steady(50e6, 0.7)]
    settled = settled_rates({"a": wakes, "b": steady(80e6, 1.0)})
    assert settled is not None
    assert settled.rates == pytest.approx({"a": 50e6, "b": 80e6}, rel=0.01)


def test_only_the_time_in_which_all_read_counts() -> None:
    """The other carries more before it begins and after it ends, and nothing tells of that."""
    late = steady(40e6, 0.8, start=0.2)
    before = steady(80e6, 0.2)
    base, end = before[-1][1], 0.2
    during = [(end + at, base + size) for at, size in steady(40e6, 0.6)]
    after = [(0.8 + at, during[-1][1] + size) for at, size in steady(80e6, 0.5)]
    settled = settled_rates({"late": late, "other": before + during + after})
    assert settled is not None
    assert settled.rates == pytest.approx({"late": 40e6, "other": 40e6}, rel=0.02)


def test_clusters_move_a_rate_by_less_than_a_count_would_err() -> None:
    """Thirty transfers, each up to two late: a count between two moments errs by up to 7 %."""
    settled = settled_rates({"a": steady(60e6, 0.5, spread=2), "b": steady(60e6, 0.5, spread=2)})
    assert settled is not None
    assert settled.rates["a"] == pytest.approx(60e6, rel=0.025)


def test_rates_that_change_to_the_end_are_told_as_imprecise() -> None:
    even = settled_rates({"a": steady(50e6, 1.0), "b": steady(50e6, 1.0)})
    faster = [((2 * at) ** 0.5, size) for at, size in steady(50e6, 1.0)]
    changing = settled_rates({"a": faster, "b": faster})
    assert even is not None
    assert changing is not None
    assert even.imprecision < 0.005
    assert changing.imprecision > 0.05


@pytest.mark.parametrize(
    "progress",
    [
        {},
        {"a": []},
        {"a": steady(50e6, 1.0), "b": steady(50e6, 1.0)[:5]},
        {"a": steady(50e6, 1.0), "b": steady(50e6, 3.0, start=2.0)},
        {"a": steady(50e6, 1.0), "b": [(0.0, MIB)] * 8},
    ],
    ids=["nobody", "nothing", "too few", "not at one time", "all at once"],
)
def test_too_little_is_no_rate(progress: dict[str, list[Mark]]) -> None:
    assert settled_rates(progress) is None


marks = st.lists(st.tuples(st.floats(0, 10), st.integers(0, 1 << 40)), max_size=30).map(
    lambda said: list(
        zip(sorted(at for at, _ in said), sorted(size for _, size in said), strict=True)
    )
)


@given(progress=st.dictionaries(st.sampled_from("abc"), marks, max_size=3))
def test_whatever_comes_is_a_rate_or_none(progress: dict[str, list[Mark]]) -> None:
    settled = settled_rates(progress)
    assert settled is None or all(rate >= 0 for rate in settled.rates.values())
