"""A step told from a ramp, and where either began."""

from __future__ import annotations

from statistics import fmean

import pytest

from arraygauge.judge.change import Point, Shape, fit_change
from arraygauge.judge.charts import Cusum, CusumState, advance_cusum
from arraygauge.judge.robust import mad


def points(*values: float) -> list[Point]:
    return [Point(moment_seconds=float(index), value=value) for index, value in enumerate(values)]


def test_an_exact_step_begins_at_its_first_value() -> None:
    change = fit_change(points(*[0.0] * 10, *[5.0] * 8))
    assert (change.index, change.shape) == (10, Shape.STEP)


def test_an_exact_ramp_begins_at_its_first_value() -> None:
    change = fit_change(points(*[0.0] * 10, *map(float, range(1, 12))))
    assert (change.index, change.shape) == (10, Shape.TREND)


def test_a_falling_ramp_is_one_as_well() -> None:
    change = fit_change(points(*[0.0] * 10, *(-float(n) for n in range(1, 12))))
    assert (change.index, change.shape) == (10, Shape.TREND)


def test_one_wild_value_neither_begins_a_change_nor_hides_one() -> None:
    change = fit_change(points(0, 0, 0, -90, 0, 0, 0, 0, *[5.0] * 4, -90, *[5.0] * 4))
    assert (change.index, change.shape) == (8, Shape.STEP)


def test_two_values_tell_no_shape() -> None:
    assert fit_change(points(0, 0, 0, 3, 4)).shape is Shape.UNTOLD


# The yearly flow of the Nile at Aswan, 1871-1970, 10^8 cubic metres (Cobb 1978, from memory)
NILE = (
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
    1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
    940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
    821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
    1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
)  # fmt: skip


def test_the_niles_break_is_a_step_after_the_28th_year() -> None:
    before, behind = NILE[:28], NILE[28:]
    assert (fmean(before), fmean(behind)) == pytest.approx((1097.75, 849.9722), abs=1e-4)
    spread = mad(before)
    change = fit_change(points(*((flow - 1097.75) / spread for flow in NILE)))
    assert (change.index, change.shape) == (28, Shape.STEP)
    assert change.sure > 0.99


def test_a_cusum_finds_the_niles_break_and_dates_it() -> None:
    """With the textbook's K of half a deviation and H of five; the 1.8 deviations of this break
    are fewer than the agent's own chart is made for."""
    spread = mad(NILE[:28])
    chart = Cusum(target=1097.75, reference=spread / 2, decision=5 * spread)
    state, index = CusumState(), 0
    while state.below <= chart.decision:
        state = advance_cusum(chart, state, NILE[index])
        index += 1
    assert index - state.below_run == 28
