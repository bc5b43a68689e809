"""What arrays survive, against exhaustive enumeration of every failure."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory import Geometry, Survivable, data_is_complete, survivable

NEAR2, NEAR3, FAR2, OFFSET2 = 258, 259, 513, 66049


def enumerated(geometry: Geometry) -> Survivable:
    """The same by trying every set of further failures."""
    guaranteed = at_best = 0
    for count in range(1, len(geometry.serving) + 1):
        outcomes = [
            data_is_complete(replace(geometry, missing=geometry.missing | frozenset(lost)))
            for lost in combinations(geometry.serving, count)
        ]
        guaranteed = count if all(outcomes) and guaranteed == count - 1 else guaranteed
        at_best = count if any(outcomes) else at_best
    return Survivable(guaranteed=guaranteed, at_best=at_best)


@given(
    level=st.sampled_from([Level.RAID0, Level.RAID1, Level.RAID5, Level.RAID6, Level.RAID10]),
    slots=st.integers(4, 8),
    layout=st.sampled_from([NEAR2, NEAR3, FAR2, OFFSET2]),
    lost=st.frozensets(st.integers(0, 3), max_size=2),
)
def test_survivable_failures_equal_enumeration(
    level: Level, slots: int, layout: int, lost: frozenset[int]
) -> None:
    chosen = layout if level is Level.RAID10 else None
    geometry = Geometry(level=level, slots=slots, layout=chosen, missing=lost)
    if data_is_complete(geometry):
        assert survivable(geometry) == enumerated(geometry)
    else:
        assert survivable(geometry) == Survivable(guaranteed=0, at_best=0)


@pytest.mark.parametrize(
    ("level", "slots", "guaranteed", "at_best"),
    [
        (Level.RAID0, 4, 0, 0),
        (Level.RAID1, 3, 2, 2),
        (Level.RAID5, 5, 1, 1),
        (Level.RAID6, 6, 2, 2),
        (Level.RAID10, 4, 1, 2),
        (Level.RAID10, 24, 1, 12),
    ],
)
def test_healthy_arrays(level: Level, slots: int, guaranteed: int, at_best: int) -> None:
    expected = Survivable(guaranteed=guaranteed, at_best=at_best)
    assert survivable(Geometry(level=level, slots=slots)) == expected
