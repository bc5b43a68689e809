"""Which options of a plan come first: what none beats, and what is recommended."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory import Access, Direction, Workload
from arraygauge.theory.plan import (
    Asked,
    Scope,
    Supply,
    enumerate_options,
    make_plan,
    pareto_front,
    recommended_option,
)
from arraygauge.theory.plan_front import beats, merits
from arraygauge.theory.plan_values import NEAR_2
from arraygauge.units import KIB, MIB
from unit.theory.planned_drives import (
    TERABYTE,
    drive,
    free,
    link,
)

DEEP = Asked(
    read=Workload(direction=Direction.READ, queue_depth=64),
    write=Workload(direction=Direction.WRITE, queue_depth=64),
)


def test_it_recommends_what_survives_two_failures_among_many_drives() -> None:
    first = make_plan(free(8), DEEP).best[0].prediction
    assert first.option.level is Level.RAID6
    assert first.survives.guaranteed == 2


def test_it_never_recommends_stripes_where_anything_else_is_possible() -> None:
    assert make_plan(free(3), DEEP).best[0].prediction.survives.guaranteed
    assert make_plan(free(3), DEEP, Scope(levels=(Level.RAID0,))).best[0].option.width == 3


def test_random_writes_are_for_mirrors() -> None:
    """Four operations for a small write of raid5, six of raid6, two of a mirror (Chen et al.
    1994, table 3)."""
    asked = Asked(
        read=Workload(direction=Direction.READ, access=Access.RANDOM, transfer_bytes=16 * KIB),
        write=Workload(direction=Direction.WRITE, access=Access.RANDOM, transfer_bytes=16 * KIB),
    )
    scope = Scope(chunks=(512 * KIB,), widths=(8,))
    plan = make_plan(free(8, disk=True), asked, scope)
    rates = {
        each.option.level: each.prediction.write.ceiling_bytes_per_second
        for each in plan.options
        if each.option.layout in (None, NEAR_2)
    }
    assert rates[Level.RAID10] / rates[Level.RAID5] == pytest.approx(2, rel=0.05)
    assert rates[Level.RAID10] / rates[Level.RAID6] == pytest.approx(3, rel=0.05)


def test_one_drive_makes_no_array() -> None:
    plan = make_plan(free(1))
    assert plan.options == ()
    assert recommended_option(plan.options) is None
    assert pareto_front(plan.options) == ()


RATES = st.sampled_from([60e6, 250e6, 550e6, 3500e6])


@st.composite
def supplies(draw: st.DrawFn) -> Supply:
    """One or two kinds of drives, perhaps behind a link."""
    held = tuple(
        drive(
            f"{kind}{number}",
            rate=rate,
            size=size * TERABYTE,
            disk=disk,
        )
        for kind, (count, rate, size, disk) in enumerate(
            draw(
                st.lists(
                    st.tuples(st.integers(1, 5), RATES, st.integers(1, 18), st.booleans()),
                    min_size=1,
                    max_size=2,
                )
            )
        )
        for number in range(count)
    )
    wall = draw(st.none() | st.sampled_from([200e6, 1200e6, 3300e6]))
    return Supply(drives=held, links=(link("uplink", wall, held),) if wall else ())


WORK = st.builds(
    lambda access, size, depth: Asked(
        read=Workload(
            direction=Direction.READ, access=access, transfer_bytes=size, queue_depth=depth
        ),
        write=Workload(
            direction=Direction.WRITE, access=access, transfer_bytes=size, queue_depth=depth
        ),
    ),
    st.sampled_from(Access),
    st.sampled_from([16 * KIB, 256 * KIB, MIB]),
    st.sampled_from([1, 8, 32]),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(supply=supplies(), asked=WORK)
def test_no_option_listed_first_is_beaten_and_each_of_the_others_is(
    supply: Supply, asked: Asked
) -> None:
    plan = make_plan(supply, asked, Scope(chunks=(64 * KIB, 512 * KIB)))
    first = [merits(each.prediction) for each in plan.best]
    everything = [merits(each.prediction) for each in plan.options]
    assert len(plan.options) == len(enumerate_options(supply, Scope(chunks=(64 * KIB, 512 * KIB))))
    assert not any(beats(other, mine) for mine in first for other in everything)
    assert len(set(first)) == len(first)
    for each in plan.others:
        mine = merits(each.prediction)
        assert any(other == mine or beats(other, mine) for other in first)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(*[st.integers(0, 3)] * 4), min_size=1, max_size=12),
)
def test_to_beat_is_an_order(figures: list[tuple[int, int, int, int]]) -> None:
    """Nothing beats itself, nothing is beaten by what it beats, and it carries over."""
    for one in figures:
        assert not beats(one, one)
        for two in figures:
            assert not (beats(one, two) and beats(two, one))
            for three in figures:
                assert not (beats(one, two) and beats(two, three)) or beats(one, three)
