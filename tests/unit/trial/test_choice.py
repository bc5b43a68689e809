"""The choice by figures and by the model, and how far they lie apart."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from arraygauge.inventory.values import Level
from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Compared, Trialled, choice_of, miss
from arraygauge.tell.trial_plot import plot_of
from arraygauge.theory import MemberRate, Source
from arraygauge.theory.plan import PlannedDrive, Scope, Supply, enumerate_options, predict
from arraygauge.units import KIB

RATE = 200e6
NAMES = ("a", "b", "c", "d")
SUPPLY = Supply(
    drives=tuple(
        PlannedDrive(
            name=name,
            size_bytes=10**12,
            rate=MemberRate(
                read_bytes_per_second=RATE,
                write_bytes_per_second=RATE,
                source=Source.MEASURED,
            ),
            rotational=False,
        )
        for name in NAMES
    )
)
SCOPE = Scope(chunks=(64 * KIB,), widths=(4,), levels=(Level.RAID0, Level.RAID10, Level.RAID5))


def measured(shares: Mapping[Level, float]) -> list[Compared]:
    """Each option as fast as the middle of its bands, times its level's share."""
    found = []
    for option in enumerate_options(SUPPLY, SCOPE):
        prediction = predict(SUPPLY, option)
        read, write = (
            Figure(
                rate=(band.floor_bytes_per_second + band.ceiling_bytes_per_second)
                / 2
                * shares.get(option.level, 1.0)
            )
            for band in (prediction.read, prediction.write)
        )
        trialled = Trialled(
            option=option,
            read=read,
            write=write,
            problem=None,
            at_seconds=0.0,
            seconds=1.0,
            read_bytes=1,
            written_bytes=1,
        )
        found.append(Compared(trialled=trialled, prediction=prediction))
    return found


def test_where_all_is_as_predicted_both_recommend_the_same() -> None:
    choice = choice_of(measured({}))
    assert choice is not None
    assert choice.measured is choice.predicted
    assert choice.agree


def test_a_difference_within_chance_is_no_disagreement_and_a_large_one_is() -> None:
    expected = choice_of(measured({}))
    assert expected is not None
    level = expected.predicted.trialled.option.level
    for share, agree in ((0.98, True), (0.2, False)):
        choice = choice_of(measured({level: share}))
        assert choice is not None
        assert choice.predicted.trialled.option.level is level
        assert choice.agree is agree
        assert agree or choice.measured.trialled.option.level is not level


def test_what_was_not_measured_whole_is_not_chosen_from() -> None:
    assert choice_of([]) is None


@pytest.mark.parametrize(
    ("rate", "expected"), [(90.0, -0.1), (100.0, 0.0), (150.0, 0.0), (220.0, 0.1), (None, None)]
)
def test_a_miss_is_a_share_of_the_nearer_edge(rate: float | None, expected: float | None) -> None:
    [any_option] = [each for each in measured({}) if each.trialled.option.level is Level.RAID5]
    from dataclasses import replace  # noqa: PLC0415

    band = replace(
        any_option.prediction.read, floor_bytes_per_second=100.0, ceiling_bytes_per_second=200.0
    )
    figure = None if rate is None else Figure(rate=rate)
    assert miss(figure, band) == (expected if expected is None else pytest.approx(expected))


def test_the_plot_fits_its_width_and_shows_each_level_once() -> None:
    compared = measured({})
    for width in (60, 96):
        lines = plot_of(compared, width, of_writes=True)
        assert len(lines) == 3
        assert max(map(len, lines)) <= width
        assert all("█" in line and "┤" in line for line in lines)
