"""Rates that stray by themselves: what is known of that, and how long one looks because of it."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.judge.baseline import READINGS_NEEDED
from arraygauge.judge.drifting import DriftMemory, observe_drift
from arraygauge.judge.findings import Matter
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.strays import looks_needed, strays_of
from unit.judge.drifting_machine import HOUR, Machine

ODD, SHORT = 0.85, 0.93


@pytest.mark.parametrize(
    ("stray", "limit", "looks"),
    [(0.01, ODD, 1), (0.01, SHORT, 2), (0.02, ODD, 2), (0.02, SHORT, 4), (0.15, ODD, 10)],
)
def test_the_more_rates_stray_the_more_passes_in_a_row_it_takes(
    stray: float, limit: float, looks: int
) -> None:
    """By tables of the normal distribution, from memory: a rate over another's strays by 1.927
    spreads (root of 2 times that of 1.3/0.7), so that these limits lie 7.8, 3.6, 3.9, 1.8 and
    0.52 deviations below, where chance comes with 3e-15, 1.4e-4, 5e-5, 0.035 and 0.30; 1e-5 is
    reached by the 1st, 2nd, 2nd, 4th and 10th power of these."""
    assert looks_needed(limit - 0.001, limit, stray) == looks


def test_what_chance_never_brings_is_believed_at_once() -> None:
    """0.2 below is 5.2 deviations at a spread of 2 %, which is 1e-7."""
    assert looks_needed(0.8, SHORT, 0.02) == 1


@given(
    share=st.floats(0.01, 0.93),
    limit=st.sampled_from((ODD, SHORT)),
    strays=st.tuples(st.floats(0.001, 1.0), st.floats(0.001, 1.0)),
)
def test_more_straying_never_takes_fewer_looks_and_never_forbids(
    share: float, limit: float, strays: tuple[float, float]
) -> None:
    less, more = sorted(strays)
    assert 1 <= looks_needed(share, limit, less) <= looks_needed(share, limit, more) <= 17


@pytest.mark.parametrize("spread", [0.1, 0.2])
def test_chance_alone_brings_a_row_so_long_less_than_once_in_two_years(spread: float) -> None:
    """100 000 hourly passes, 11.4 years, of a member against the better half of three others;
    its noise and theirs lasts from pass to pass with an autocorrelation of 0.3."""
    random, errors, row, rows = Random(7), [0.0] * 4, 0, 0
    fresh = spread * (1 - 0.3**2) ** 0.5
    for _ in range(100_000):
        errors = [0.3 * each + random.gauss(0, fresh) for each in errors]
        share = (1 + errors[0]) / (1 + sorted(errors)[2])
        row = row + 1 if share < ODD else 0
        if row and row >= looks_needed(share, ODD, spread):
            row, rows = 0, rows + 1
    assert rows <= 5


def lived(machine: Machine, *passes: Mapping[str, float]) -> tuple[dict[str, float], IncidentBook]:
    """How far all stray after these passes, and the incidents, as the agent keeps both."""
    book, memory, strays = IncidentBook(), DriftMemory(), dict[str, float]()
    for number, slower in enumerate(passes):
        status = machine.status(slower)
        _, memory = observe_drift(status, memory)
        strays = strays_of(status, memory.watched)
        book, _ = advance(book, observe_status(status, (), strays), number * HOUR)
    return strays, book


def open_after(machine: Machine, *passes: Mapping[str, float]) -> list[tuple[str, Matter]]:
    _, book = lived(machine, *passes)
    return [(each.finding.cause.name, each.finding.matter) for each in book.open]


QUIET: list[Mapping[str, float]] = [{}]


def test_after_one_pass_nothing_is_known() -> None:
    assert lived(Machine(), {})[0] == {}


def test_what_was_learned_as_usual_is_known_of_each() -> None:
    strays, _ = lived(Machine(spread=0.03), *QUIET * READINGS_NEEDED)
    assert set(strays) == {"sda", "sdb", "sdc", "sdd", "md0"}
    assert all(each == pytest.approx(0.03, rel=0.3) for each in strays.values())


def test_of_few_readings_a_spread_is_taken_as_wide_as_it_may_be() -> None:
    strays, _ = lived(Machine(spread=0.1), *QUIET * 6)
    assert min(strays.values()) > 0.1


def test_a_fault_while_little_is_known_does_not_pass_for_noise() -> None:
    slow = {"sdb": 0.3}
    assert open_after(Machine(), {}, slow) == [("sdb", Matter.SLOW_MEMBER)]
    pair = Machine(names=("sda", "sdb"), spread=0.003)
    assert open_after(pair, {}, slow) == [("sdb", Matter.SLOW_MEMBER)]


def test_where_rates_stray_widely_a_few_low_ones_open_nothing_and_lasting_ones_do() -> None:
    slow = {"sdb": 0.5}
    noisy = [*QUIET * READINGS_NEEDED]
    assert open_after(Machine(spread=0.15), *noisy, slow, slow) == []
    assert open_after(Machine(spread=0.15), *noisy, *[slow] * 24) != []


def test_where_they_do_not_it_is_told_as_soon_as_ever() -> None:
    known = [*QUIET * READINGS_NEEDED]
    assert open_after(Machine(), *known, {"sdb": 0.25}) == [("sdb", Matter.SLOW_MEMBER)]
    assert open_after(Machine(), *known, *[{"md0": 0.1}] * 2) == [("md0", Matter.SLOW_ARRAY)]
