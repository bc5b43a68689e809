"""The model's band against an independent simulation of the machine it describes.

The simulation (tests/simulated) moves every piece of every transfer through queues by the
kernel's own rules and knows none of the model's formulas. A run gives a rate with a
confidence interval of at most 2 % half-width, mostly 0.5 %; the interval must reach into
the band widened by 1 % for what a run of finite length cuts off at its ends. So nothing
more than 3 % outside the band passes.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import Phase, given, settings

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import placements, rows
from simulated.band import band_of
from simulated.cases import (
    Case,
    Drive,
    Passage,
    Variation,
    Way,
)
from simulated.gap import CHUNK, ONE, Gap
from simulated.gaps import FOUND
from simulated.layouts import copies_at, stripe_at
from simulated.run import Measured, simulate
from simulated.strategies import (
    FAR2,
    NEAR2,
    OFFSET2,
    alike,
    cases,
    degraded,
    delayed,
    scattered,
    several_streams,
    unequal,
    wall,
    with_heads,
)

ENDS = 0.01
"""Share of the rate that a finite run may be off at its ends."""
DOUBT = 0.02
"""Widest half of a confidence interval, as a share of the rate."""
ALWAYS_ALIKE = settings(
    derandomize=True, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate)
)
"""The same examples each time. A failing one is not made smaller, which would simulate for
minutes: its levels and counts are small as drawn."""


def classic(level: Level, count: int, way: Way, chunks: int, **changes: object) -> Case:
    """Eight transfers of whole chunks in flight, one after the other."""
    shape = Case(
        level=level,
        drives=alike(count),
        way=way,
        transfer_bytes=chunks * CHUNK,
        depth=8,
        chunk_bytes=CHUNK,
        layout=2 if level in (Level.RAID5, Level.RAID6) else 0,
    )
    return replace(shape, **changes)  # type: ignore[arg-type]


R, W = Way.READ, Way.WRITE
CLASSIC = {
    "a stripe reads with all members": (classic(Level.RAID0, 5, R, 5), 5),
    "a stripe writes with all members": (classic(Level.RAID0, 3, W, 3), 3),
    "one chunk in flight is one member": (classic(Level.RAID0, 4, R, 1, depth=1), 1),
    "three chunks in flight are three members": (classic(Level.RAID0, 4, R, 1, depth=3), 3),
    "the slowest member sets a stripe's pace": (
        classic(Level.RAID0, 4, R, 4, drives=(*alike(3), Drive(read=ONE / 4))),
        1,
    ),
    "a wall holds a stripe": (classic(Level.RAID0, 4, R, 4, links=wall(4, 2.5)), 2.5),
    "a wall above the members does not": (classic(Level.RAID0, 4, R, 4, links=wall(4, 4.5)), 4),
    "a wall passed whole holds a deep stripe alike": (
        classic(Level.RAID0, 4, R, 4, links=wall(4, 2.5), passage=Passage.WHOLE),
        2.5,
    ),
    "one stream stays on one mirror": (classic(Level.RAID1, 3, R, 4), 1),
    "every mirror is written": (classic(Level.RAID1, 3, W, 4), 1),
    "a mirror's write crosses the wall twice": (
        classic(Level.RAID1, 2, W, 4, links=wall(2, 1.5)),
        0.75,
    ),
    "a mirrored stripe reads with all members": (
        classic(Level.RAID10, 4, R, 4, layout=NEAR2),
        4,
    ),
    "a mirrored stripe writes with half": (classic(Level.RAID10, 4, W, 4, layout=NEAR2), 2),
    "far copies write with half": (classic(Level.RAID10, 4, W, 8, layout=FAR2), 2),
    "offset copies write with half": (classic(Level.RAID10, 4, W, 8, layout=OFFSET2), 2),
    "a mirrored stripe's write crosses the wall twice": (
        classic(Level.RAID10, 4, W, 4, layout=NEAR2, links=wall(4, 3)),
        1.5,
    ),
    "single parity reads with all members": (classic(Level.RAID5, 4, R, 4), 4),
    "fixed parity reads with all but one": (classic(Level.RAID4, 4, R, 3), 3),
    "heads pass over parity": (
        classic(Level.RAID5, 4, R, 12, heads=True, drives=alike(4, operation_seconds=0.012)),
        3,
    ),
    "whole stripes of single parity": (classic(Level.RAID5, 4, W, 3), 3),
    "whole stripes of double parity": (classic(Level.RAID6, 6, W, 4), 4),
    "parity crosses the wall too": (classic(Level.RAID5, 4, W, 3, links=wall(4, 2.4)), 1.8),
    "parity arithmetic holds whole stripes": (classic(Level.RAID5, 4, W, 3, parity_rate=ONE), 1),
    "a wall that carries one way at a time holds reads as any": (
        classic(Level.RAID5, 4, R, 4, links=wall(4, 2, full_duplex=False)),
        2,
    ),
    "a lost member of single parity": (
        classic(Level.RAID5, 4, R, 12, missing=frozenset({1})),
        3,
    ),
    "a lost member of a mirrored stripe": (
        classic(Level.RAID10, 4, R, 8, layout=NEAR2, missing=frozenset({0})),
        2,
    ),
}


@pytest.mark.parametrize("name", CLASSIC)
def test_classic_cases_have_one_answer_in_model_and_simulation(name: str) -> None:
    case, drives = CLASSIC[name]
    band = band_of(case)
    assert band.floor_bytes_per_second == pytest.approx(drives * ONE, rel=1e-9)
    assert band.ceiling_bytes_per_second == pytest.approx(drives * ONE, rel=1e-9)
    assert simulate(case).bytes_per_second == pytest.approx(drives * ONE, rel=0.02)


@pytest.mark.parametrize(("members", "depth"), [(2, 4), (4, 1), (4, 8)])
def test_simulation_meets_the_closed_form_of_random_queues(members: int, depth: int) -> None:
    """Balanced network of M exponential queues with N customers: X = N / (N + M - 1) / D
    (Zahorjan et al., CACM 25(2), 1982, from memory): the simulation itself is sound."""
    case = classic(Level.RAID0, members, R, 1, depth=depth, streams=0)
    measured = simulate(replace(case, variation=Variation.EXPONENTIAL))
    expected = depth / (depth + members - 1) * members * ONE
    assert measured.bytes_per_second == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("layout", [0, 1, 2, 3, 4, 5, 8, 9, 10, 16, 17, 18, 19, 20])
def test_parity_rows_are_those_of_the_simulated_kernel(layout: int) -> None:
    """Two writings of raid5_compute_sector."""
    level = Level.RAID5 if layout < 6 else Level.RAID6
    for number, row in enumerate(rows(level, 5, layout)):
        stripe = stripe_at(level, 5, layout, number)
        assert (row.data, row.parity) == (stripe.data, stripe.parity)


@pytest.mark.parametrize("layout", [NEAR2, 259, FAR2, 769, OFFSET2])
@pytest.mark.parametrize("members", [3, 4, 5])
def test_copies_lie_where_the_simulated_kernel_puts_them(layout: int, members: int) -> None:
    """Two writings of __raid10_find_phys."""
    for chunk, slots in enumerate(placements(Level.RAID10, members, layout)):
        places = copies_at(members, layout, chunk)
        assert set(slots) == {place.slot for place in places}


def assert_inside(case: Case) -> None:
    """The simulated rate's confidence interval reaches into the band."""
    measured, band = simulate(case), band_of(case)
    assert measured.half_width <= DOUBT
    assert _low(measured) <= band.ceiling_bytes_per_second * (1 + ENDS), measured
    assert _high(measured) >= band.floor_bytes_per_second * (1 - ENDS), measured


def _low(measured: Measured) -> float:
    return measured.bytes_per_second * (1 - measured.half_width)


def _high(measured: Measured) -> float:
    return measured.bytes_per_second * (1 + measured.half_width)


@pytest.mark.parametrize("gap", FOUND, ids=lambda gap: gap.name)
def test_cases_the_model_once_missed(gap: Gap) -> None:
    """The smallest case of each gap that the simulation found and the model has closed."""
    assert_inside(gap.case)


@given(case=cases())
@settings(ALWAYS_ALIKE, max_examples=60)
def test_one_stream_runs_inside_the_band(case: Case) -> None:
    assert_inside(case)


@given(case=unequal())
@settings(ALWAYS_ALIKE, max_examples=15)
def test_one_stream_over_unequal_members_runs_inside_the_band(case: Case) -> None:
    assert_inside(case)


@given(case=delayed())
@settings(ALWAYS_ALIKE, max_examples=15)
def test_one_stream_with_latency_runs_inside_the_band(case: Case) -> None:
    assert_inside(case)


@given(case=degraded() | degraded(streams=0))
@settings(ALWAYS_ALIKE, max_examples=25)
def test_degraded_arrays_run_inside_the_band(case: Case) -> None:
    assert_inside(case)


@given(case=scattered())
@settings(ALWAYS_ALIKE, max_examples=25)
def test_random_places_run_inside_the_band(case: Case) -> None:
    assert_inside(case)


@given(case=several_streams())
@settings(ALWAYS_ALIKE, max_examples=10)
def test_several_streams_run_inside_the_band(case: Case) -> None:
    assert_inside(case)


@given(case=with_heads())
@settings(ALWAYS_ALIKE, max_examples=40)
def test_drives_with_heads_run_inside_the_band(case: Case) -> None:
    assert_inside(case)
