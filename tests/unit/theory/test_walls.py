"""Finding walls on simulated machines (``walled_machine``): arithmetic, no other source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import sqrt
from statistics import NormalDist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arraygauge.theory.walls import Run, Wall, infer_walls, run_cost
from unit.theory.walled_machine import (
    Machine,
    binding,
    carried,
    equal_drives,
    even_errors,
    is_true,
    search,
)

MB = 1e6
SEEDS = range(8)


def exact() -> float:
    return 0.0


NAMED = {
    "none": (equal_drives(5), 1),
    "two on one": (equal_drives(2, (range(2), 700 * MB)), 1),
    "three on one": (equal_drives(3, (range(3), 1000 * MB)), 1),
    "four on one": (equal_drives(4, (range(4), 1640 * MB)), 2),
    "eight on one": (equal_drives(8, (range(8), 2400 * MB)), 2),
    "2 + 2": (equal_drives(4, ((0, 1), 700 * MB), ((2, 3), 800 * MB)), 4),
    "3 + 3": (equal_drives(6, ((0, 1, 2), 900 * MB), ((3, 4, 5), 1000 * MB)), 4),
    "3 + 2, one free": (equal_drives(6, ((0, 1, 2), 900 * MB), ((3, 4), 700 * MB)), 5),
    "four, two free": (equal_drives(6, (range(4), 1500 * MB)), 3),
    "3 within 5": (equal_drives(5, ((0, 1, 2), 600 * MB), (range(5), 1300 * MB)), 4),
    "3 within 5, one free": (equal_drives(6, ((0, 1, 2), 600 * MB), (range(5), 1300 * MB)), 7),
    "2 within 4 within 6": (
        equal_drives(6, ((0, 1), 300 * MB), (range(4), 900 * MB), (range(6), 1700 * MB)),
        9,
    ),
}
"""Machines of equal drives that share evenly, and the runs their search needs at most."""


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", NAMED)
def test_named_machines_are_told_exactly_in_few_runs(name: str, seed: int) -> None:
    """Members exactly, capacities within 5 % of the true ones, at readings off by up to 3 %."""
    machine, most_runs = NAMED[name]
    done = search(machine, even_errors(seed))
    assert {wall.members for wall in done.found.walls} == {names for names, _ in machine.walls}
    assert all(is_true(wall, machine) for wall in done.found.walls)
    assert done.found.unresolved == frozenset()
    assert len(done.runs) <= most_runs


@pytest.mark.parametrize("name", NAMED)
def test_runs_a_quarter_as_long_as_the_solo_readings_stay_within_two_passes(name: str) -> None:
    """The budget is twice the bytes of one plain pass over the members, that pass included."""
    machine, _ = NAMED[name]
    assert max(search(machine, even_errors(seed)).passes(1 / 4) for seed in SEEDS) <= 2


@pytest.mark.parametrize("seed", SEEDS)
def test_members_of_one_wall_may_get_very_unequal_shares(seed: int) -> None:
    drives = equal_drives(6, (range(4), 1200 * MB))
    machine = replace(
        drives, weights=dict(drives.weights) | {"m0": 3.0, "m1": 2.0, "m2": 1.0, "m3": 0.5}
    )
    done = search(machine, even_errors(seed))
    (wall,) = done.found.walls
    assert wall.members == frozenset({"m0", "m1", "m2", "m3"})
    assert is_true(wall, machine)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_member_that_keeps_its_own_rate_may_still_be_behind_the_wall(seed: int) -> None:
    """Even sharing leaves a slow drive all it can do, and slows the fast one beside it."""
    solo = {"slow": 150 * MB, "fast": 550 * MB, "other": 500 * MB}
    machine = Machine(
        solo=solo,
        weights=dict.fromkeys(solo, 1.0),
        walls=((frozenset({"slow", "fast"}), 500 * MB),),
    )
    done = search(machine, even_errors(seed))
    (wall,) = done.found.walls
    assert wall.members == frozenset({"slow", "fast"})
    assert is_true(wall, machine)


@pytest.mark.parametrize("seed", SEEDS)
def test_many_members_on_one_wall_take_few_runs(seed: int) -> None:
    """One of 24 leaves each other one 4 % more: lost in noise until several are left out."""
    machine = equal_drives(24, (range(24), 8500 * MB))
    done = search(machine, even_errors(seed))
    assert [wall.members for wall in done.found.walls] == [machine.members]
    assert len(done.runs) <= 6


@pytest.mark.parametrize("share", [0.96, 0.98, 1.0, 1.02, 1.1])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_ceiling_near_the_sum_is_not_mistaken_for_another(share: float, seed: int) -> None:
    """Within noise there is nothing to tell: no claim, or the true one."""
    machine = equal_drives(4, (range(4), share * 4 * 530 * MB))
    done = search(machine, even_errors(seed))
    assert all(is_true(wall, machine) for wall in done.found.walls)
    if share >= 1:
        assert done.found.walls == ()


def test_a_wall_that_only_more_members_would_reach_is_not_claimed() -> None:
    done = search(equal_drives(3, (range(3), 1700 * MB)), exact)
    assert done.found.walls == ()
    assert done.found.unresolved == frozenset()
    assert len(done.runs) == 1


def test_walls_that_take_little_are_not_searched_for_long() -> None:
    """A wall 4 % below the sum of eight: some seem slowed, each by another accident. Such a
    search is the longest there is; without a limit on its worth it takes half as long again."""
    machine = equal_drives(8, (range(8), 0.96 * 8 * 530 * MB))
    lengths = [len(search(machine, even_errors(seed)).runs) for seed in range(40)]
    assert sum(lengths) / len(lengths) < 7


@st.composite
def machines(draw: st.DrawFn, *, shared: tuple[str, ...]) -> Machine:
    """Up to eight members of equal or mixed rates behind walls apart or within each other."""
    count = draw(st.integers(2, 8))
    rates = draw(
        st.lists(st.floats(80, 600), min_size=count, max_size=count) | st.just([500.0] * count)
    )
    solo = {f"m{number}": rate * MB for number, rate in enumerate(rates)}
    weights = {
        "evenly": dict.fromkeys(solo, 1.0),
        "in proportion": solo,
        "unfairly": {name: rate * draw(st.floats(0.3, 3)) for name, rate in solo.items()},
    }[draw(st.sampled_from(shared))]
    walls = draw(walls_around(tuple(draw(st.permutations(sorted(solo)))), solo, depth=0))
    return Machine(solo=solo, weights=weights, walls=walls)


@st.composite
def walls_around(
    draw: st.DrawFn, names: tuple[str, ...], solo: dict[str, float], depth: int
) -> tuple[tuple[frozenset[str], float], ...]:
    """The names cut into blocks; some blocks get a wall, and some of those more within."""
    walls: dict[frozenset[str], float] = {}
    while len(names) > 1 and depth < 3:
        size = draw(st.integers(1, len(names)))
        block, names = names[:size], names[size:]
        if size > 1 and draw(st.booleans()):
            walls[frozenset(block)] = draw(st.floats(0.3, 1.1)) * sum(solo[n] for n in block)
            inner = dict(draw(walls_around(block, solo, depth + 1)))
            walls = inner | walls
    return tuple(walls.items())


@given(
    machine=machines(shared=("evenly", "in proportion", "unfairly")),
    seed=st.integers(0, 2**32),
    width=st.floats(0, 0.03),
)
@settings(max_examples=500, deadline=None, derandomize=True)
def test_no_wall_is_claimed_that_is_not_there(machine: Machine, seed: int, width: float) -> None:
    """Whatever the walls and the sharing, at readings off by up to 3 %. Fixed examples: of
    a hundred thousand claims on random machines two were false, of barely full walls."""
    found = search(machine, even_errors(seed, width)).found
    assert all(is_true(wall, machine, found.unresolved) for wall in found.walls)


@given(machine=machines(shared=("evenly", "in proportion")), seed=st.integers(0, 2**32))
@settings(max_examples=1500, deadline=None, derandomize=True)
def test_walls_that_bind_by_more_than_10_percent_are_found_within_5(
    machine: Machine, seed: int
) -> None:
    """Shared evenly or in proportion. Fixed examples: of a thousand such walls on random
    machines one or two are missed, most of them at the edge of 10 %."""
    found = search(machine, even_errors(seed)).found
    told = [wall for wall in found.walls if is_true(wall, machine, found.unresolved)]
    for (names, limit), excess in binding(machine).items():
        if excess > 1.1:
            assert any(
                wall.members <= names and wall.bytes_per_second == pytest.approx(limit, rel=0.05)
                for wall in told
            )


def in_proportion(solo: list[float], *walls: tuple[Iterable[int], float]) -> Machine:
    """Members m0, m1, … that share by their solo rates, with walls around some of them."""
    rates = {f"m{number}": rate for number, rate in enumerate(solo)}
    named = tuple((frozenset(f"m{n}" for n in numbers), limit) for numbers, limit in walls)
    return Machine(solo=rates, weights=rates, walls=named)


MISLEADING = {
    "a whole wall left out frees its neighbours in a wider one": (
        in_proportion([426, 200, 506, 287], (range(4), 1151), ((1, 2), 484)),
        (36, 43, 47, 71, 144, 154, 159, 163),
    ),
    "the fastest is bound by the inner wall": (
        in_proportion(
            [375, 550, 522, 275, 174, 569, 93, 233],
            ((2, 3, 4, 6, 7), 1104),
            ((3, 7), 366),
            ((0, 1), 756),
        ),
        (0, 4, 8, 30, 38, 41, 43, 54),
    ),
    "a barely full wall around members another wall will hold": (
        in_proportion([145, 446, 449, 167, 351, 322, 280], ((1, 2, 3, 4, 6), 1624), ((2, 3), 601)),
        (9, 25, 134, 346, 470, 515),
    ),
    "the same wall met twice, once with a member missed": (
        Machine(
            solo={"m0": 240, "m1": 525, "m2": 94, "m3": 441, "m4": 320, "m5": 321, "m6": 137},
            weights={"m0": 3, "m1": 8.1, "m2": 0.5, "m3": 2.5, "m4": 5.9, "m5": 3.2, "m6": 0.6},
            walls=(
                (frozenset({"m4", "m5", "m6"}), 413),
                (frozenset({"m5", "m6"}), 393),
                (frozenset({"m0", "m1", "m2", "m3"}), 523),
                (frozenset({"m0", "m3"}), 316),
            ),
        ),
        (10, 33, 46, 61, 98, 116),
    ),
    "three left over that are slowed by two walls": (
        in_proportion([500] * 7, ((0, 2, 3, 4, 5, 6), 2843), ((3, 6), 910)),
        (2, 5, 15, 22, 38, 39, 40, 50),
    ),
    "a wall that does not bind some of its members alone": (
        in_proportion([500] * 8, (range(8), 3859)),
        (8, 13, 25, 34, 50, 52, 60, 67),
    ),
}
"""Machines, and the errors of readings under which one step of the search alone would err."""


@pytest.mark.parametrize("name", MISLEADING)
def test_machines_that_mislead_a_simpler_search(name: str) -> None:
    machine, seeds = MISLEADING[name]
    for seed in seeds:
        found = search(machine, even_errors(seed)).found
        assert all(is_true(wall, machine, found.unresolved) for wall in found.walls)
        told = {wall.members for wall in found.walls}
        assert {names for (names, _), excess in binding(machine).items() if excess > 1.1} <= told


def test_claims_that_contradict_each_other_are_all_dropped() -> None:
    """Rates that changed between the runs: a shares with c, and b with c, but not a with b."""
    runs = [
        Run(rates={"a": 60.0, "b": 60.0, "c": 100.0}),
        Run(rates={"a": 80.0, "b": 100.0}),
        Run(rates={"b": 60.0, "c": 40.0}),
        Run(rates={"a": 30.0, "c": 40.0}),
    ]
    found = infer_walls(dict.fromkeys("abc", 100.0), runs)
    assert found.walls == ()
    assert found.unresolved == frozenset({"a", "b"})


@given(data=st.data(), count=st.integers(1, 5))
@settings(max_examples=100, deadline=None)
def test_rates_no_machine_could_give_end_the_search_all_the_same(
    data: st.DataObject, count: int
) -> None:
    """Walls then still nest or lie apart, and the search ends."""
    rate = st.floats(1, 1000)
    solo = {f"m{number}": data.draw(rate) for number in range(count)}
    runs: list[Run] = []
    found = infer_walls(solo, runs)
    while found.next_run is not None:
        assert len(runs) < 3 * 2**count
        runs.append(Run(rates={name: data.draw(rate) for name in sorted(found.next_run)}))
        found = infer_walls(solo, runs)
    sets = [wall.members for wall in found.walls]
    assert all(one <= other or other <= one or not one & other for one in sets for other in sets)


def test_stopping_early_keeps_what_is_proven_and_names_the_rest() -> None:
    machine, _ = NAMED["2 + 2"]
    done = search(machine, exact)
    before_last = infer_walls(done.seen_alone, done.runs[:-1])
    assert len(before_last.walls) == 1
    assert before_last.unresolved == machine.members - before_last.walls[0].members
    assert before_last.next_run == frozenset(done.runs[-1].rates)


def test_the_first_run_is_all_together_and_nothing_is_known_before() -> None:
    found = infer_walls({"a": 1.0, "b": 1.0}, [])
    assert found.next_run == found.unresolved == frozenset({"a", "b"})


def test_a_single_member_shares_with_nobody() -> None:
    found = infer_walls({"a": 1.0}, [])
    assert (found.walls, found.unresolved, found.next_run) == ((), frozenset(), None)


def test_runs_nobody_asked_for_are_used() -> None:
    machine, _ = NAMED["2 + 2"]
    done = search(machine, exact)
    shuffled = [Run(rates=carried(machine, frozenset({"m1", "m3"}))), *reversed(done.runs)]
    assert infer_walls(done.seen_alone, shuffled) == done.found


def test_doubt_is_met_by_reading_all_again() -> None:
    """Two members 5 % low at once may be chance: three runs are averaged."""
    alone = {"a": 100.0, "b": 100.0, "c": 100.0}
    low = Run(rates={"a": 95.0, "b": 95.0, "c": 100.0})
    assert infer_walls(alone, [low]).next_run == frozenset(alone)
    assert infer_walls(alone, [low, low]).next_run == frozenset(alone)
    assert infer_walls(alone, [low, low, low]).next_run is None


def test_confidence_is_the_chance_that_noise_did_not_do_it() -> None:
    """Two members, one run: only their slowing could be chance. Errors even over 3 % deviate
    by 0.03 / sqrt(3) each; a ratio has two of them, the sum of two members half as much."""
    alone = {"a": 100.0, "b": 100.0}
    (wall,) = infer_walls(alone, [Run(rates={"a": 92.0, "b": 93.0})]).walls
    deviation = 0.03 / sqrt(3) * sqrt(2 / 2)
    assert wall.confidence == pytest.approx(NormalDist().cdf((1 - 0.925) / deviation))


@pytest.mark.parametrize("seed", SEEDS)
def test_deep_walls_are_surer_than_shallow_ones(seed: int) -> None:
    def surest(limit: float) -> Wall:
        (wall,) = search(equal_drives(4, (range(4), limit)), even_errors(seed)).found.walls
        return wall

    deep, shallow = surest(1000 * MB), surest(1800 * MB)
    assert 0.9 < shallow.confidence < deep.confidence <= 1


def test_members_too_slow_to_place_are_named() -> None:
    """A member of a fiftieth of the wall changes nothing that noise would not."""
    drives = equal_drives(3, (range(3), 1200 * MB))
    machine = replace(
        drives,
        solo={**drives.solo, "tiny": 20 * MB},
        weights={**drives.weights, "tiny": 1.0},
    )
    found = search(machine, exact).found
    assert [wall.members for wall in found.walls] == [drives.members]
    assert found.unresolved == frozenset({"tiny"})


def test_a_member_faster_in_company_than_alone_shows_more_noise_than_stated() -> None:
    """No wall can do that, so slowing of the same size is not believed either."""
    alone = {"a": 100.0, "b": 100.0, "c": 100.0}
    slowed = {"a": 92.0, "b": 92.0}
    assert infer_walls(alone, [Run(rates={**slowed, "c": 100.0})]).next_run is not None
    disturbed = infer_walls(alone, [Run(rates={**slowed, "c": 110.0})])
    assert disturbed.walls == ()
    assert disturbed.unresolved == frozenset()


def test_the_cost_of_a_run_is_told_in_solo_passes() -> None:
    solo = {"a": 100.0, "b": 300.0}
    assert run_cost(["a", "b"], solo, 0.5) == 0.5
    assert run_cost(["b"], solo, 0.5) == 0.375


@pytest.mark.parametrize(
    ("solo", "runs", "noise", "complaint"),
    [
        ({"a": 0.0}, [], 0.03, "reads nothing alone"),
        ({"a": 1.0}, [Run(rates={"b": 1.0})], 0.03, "no solo rate for b"),
        ({"a": 1.0}, [], 0.0, "noise of 0"),
        ({"a": 1.0}, [], 0.3, "noise of 0.3"),
    ],
)
def test_nonsense_is_refused(
    solo: dict[str, float], runs: list[Run], noise: float, complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        infer_walls(solo, runs, noise)
