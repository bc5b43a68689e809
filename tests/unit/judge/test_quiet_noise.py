"""Passes over recorded noise in which nothing changes: no more than one false incident a year.

ARRAYGAUGE_QUIET_YEARS is how many years of each kind are lived (four tenths of one).
"""

from __future__ import annotations

import os
from math import ceil

import pytest

from arraygauge.judge.baseline import READINGS_NEEDED
from unit.judge.quiet_noise import (
    BLOCK,
    PASSES_A_YEAR,
    STRIPES,
    drifts_found,
    incidents_opened,
    recorded,
)

YEARS = float(os.environ.get("ARRAYGAUGE_QUIET_YEARS", "0.4"))
PASSES = min(PASSES_A_YEAR, round(YEARS * PASSES_A_YEAR))
WHOLE_YEARS = range(ceil(YEARS))
SUBJECTS = [(where, name) for where in ("lab", "machine") for name in recorded(where)]


def test_what_was_recorded_is_noise_and_enough_of_it() -> None:
    for where, name in SUBJECTS:
        series = recorded(where)[name]
        assert len(series) >= 4 * BLOCK
        assert len({rate for rate, _ in series}) > len(series) / 2


@pytest.mark.timeout(600)
@pytest.mark.parametrize("year", WHOLE_YEARS)
@pytest.mark.parametrize("where", STRIPES)
def test_a_quiet_year_of_a_stripe_opens_at_most_one_incident(where: str, year: int) -> None:
    opened = incidents_opened(where, year, PASSES)
    print(f"{where}, year {year}, {PASSES} passes, {READINGS_NEEDED} to learn: {dict(opened)}")
    assert opened.total() <= 1


@pytest.mark.parametrize(("where", "name"), SUBJECTS)
def test_a_quiet_year_of_one_subject_is_no_drift(where: str, name: str) -> None:
    found = [drifts_found(where, name, year, PASSES) for year in WHOLE_YEARS]
    print(f"{where} {name}: drift newly found in years of {PASSES} passes: {found}")
    assert max(found) <= 1
