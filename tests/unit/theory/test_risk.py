"""Risk by the published formulas, against the published tables."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.redundancy import data_is_complete
from arraygauge.theory.risk import (
    HOURS_PER_YEAR,
    Cause,
    Reliability,
    exposure,
    grouped,
    loss_probability,
    loss_time,
    unreadable_sector,
)

CHEN = Reliability(
    disk_hours=(200_000, 20_000, 2_000),
    repair_hours=1,
    disk_unreadable=1 - 0.9996,
    system_hours=720,  # a month, as the paper counts it
    system_repair_hours=1,
)
"""Chen et al. 1994, table 4: groups of 16, 100 data disks."""
NEAR2, NEAR3, FAR2, FAR3, OFFSET2 = 258, 259, 513, 769, 66049


@pytest.mark.parametrize(
    ("tolerated", "cause", "years", "percent"),
    [
        (1, Cause.DISKS, 285.39, 3.44),
        (1, Cause.CRASH, 154.11, 6.28),
        (1, Cause.UNREADABLE, 35.77, 24.39),
        (2, Cause.DISKS, 38051.75, 0.026),
        (2, Cause.UNREADABLE, 47688, 0.021),
    ],
)
def test_each_row_of_chen_1994_tables_5_and_6(
    tolerated: int, cause: Cause, years: float, percent: float
) -> None:
    """Printed 285, 154, 36; 38052, 47697 years; recomputed to more digits from the formulas."""
    found = loss_time(grouped(100 * 16 / (16 - tolerated), 16, tolerated), CHEN)
    alone = replace(found, hours=dict(found.by_cause)[cause])
    assert alone.years == pytest.approx(years, rel=1e-4)
    assert 100 * loss_probability(alone, 10) == pytest.approx(percent, abs=0.006)


@pytest.mark.parametrize(
    ("tolerated", "crashes", "years", "percent"),
    [
        (1, True, 26.35, 31.58),
        (1, False, 31.79, 26.99),
        (2, True, 142.86, 6.76),  # the paper prints 144 years with 7.7 %: a misprint
        (2, False, 21164, 0.047),
    ],
)
def test_harmonic_sums_of_chen_1994_tables_5_and_6(
    tolerated: int, crashes: bool, years: float, percent: float
) -> None:
    """Printed 26, 32; 143 (software) and 21166 (hardware) years; hardware has no crash row."""
    lives = CHEN if crashes else replace(CHEN, system_hours=None)
    found = loss_time(grouped(100 * 16 / (16 - tolerated), 16, tolerated), lives)
    assert found.years == pytest.approx(years, rel=2e-4)
    assert 100 * loss_probability(found, 10) == pytest.approx(percent, abs=0.006)


@pytest.mark.parametrize(
    ("group", "checks", "groups", "hours"),
    [(1, 1, 100, 4_500_000), (10, 1, 10, 818_182), (25, 1, 4, 346_154)],
)
def test_patterson_gibson_katz_1988(group: int, checks: int, groups: int, hours: float) -> None:
    """MTTF 30000 h, MTTR 1 h, 100 data disks. Their numbers from memory, arithmetic redone;
    their groups are counted without the check disks."""
    disks = 100 + checks * groups
    found = loss_time(
        grouped(disks, group + checks, 1), Reliability(disk_hours=(30_000,), repair_hours=1)
    )
    assert found.hours == pytest.approx(hours, rel=1e-6)


def test_a_hundred_disks_without_redundancy_last_300_hours() -> None:
    """Patterson, Gibson, Katz 1988 (from memory)."""
    lives = Reliability(disk_hours=(30_000,), repair_hours=1)
    geometry = Geometry(level=Level.RAID0, slots=100)
    assert loss_time(exposure(geometry), lives).hours == pytest.approx(300)


def test_a_mirror_pair_of_six_million_hours_repaired_in_120() -> None:
    """MTTF ** 2 / (2 MTTR) = 1.5e11 h (published formula for a mirror pair)."""
    lives = Reliability(disk_hours=(6_000_000,), repair_hours=120)
    for geometry in (
        Geometry(level=Level.RAID1, slots=2),
        Geometry(level=Level.RAID10, slots=2, layout=NEAR2),
    ):
        assert loss_time(exposure(geometry), lives).hours == pytest.approx(1.5e11)


def orders_of_failures(geometry: Geometry, length: int) -> int:
    """By trying all: ordered sets of members that can be part of the shortest way to loss."""
    shortest = next(
        count
        for count in range(1, geometry.slots + 1)
        if any(
            not data_is_complete(replace(geometry, missing=frozenset(lost)))
            for lost in permutations(range(geometry.slots), count)
        )
    )
    starts = {
        order[:length]
        for order in permutations(range(geometry.slots), shortest)
        if not data_is_complete(replace(geometry, missing=frozenset(order)))
    }
    return len(starts)


@pytest.mark.parametrize(
    ("level", "layout"),
    [
        (Level.RAID0, None),
        (Level.RAID5, None),
        (Level.RAID6, None),
        (Level.RAID10, NEAR2),
        (Level.RAID10, NEAR3),
        (Level.RAID10, FAR2),
        (Level.RAID10, FAR3),
        (Level.RAID10, OFFSET2),
    ],
)
@pytest.mark.parametrize("slots", [4, 5, 6])
def test_ways_to_loss_equal_enumeration(level: Level, layout: int | None, slots: int) -> None:
    geometry = Geometry(level=level, slots=slots, layout=layout)
    found = exposure(geometry)
    counted = [orders_of_failures(geometry, length + 1) for length in range(found.tolerated + 1)]
    assert list(found.sequences) == counted


def test_copies_that_chain_all_members_lose_data_in_twice_as_many_ways() -> None:
    """Near copies on an even count pair members off; far copies give each two neighbours."""
    lives = Reliability(disk_hours=(1_000_000,), repair_hours=24)
    near, far = (
        loss_time(exposure(Geometry(level=Level.RAID10, slots=8, layout=layout)), lives)
        for layout in (NEAR2, FAR2)
    )
    assert near.hours == pytest.approx(2 * far.hours)


@pytest.mark.parametrize(
    ("level", "slots", "layout", "disks"),
    [
        (Level.RAID5, 5, None, 4),
        (Level.RAID6, 8, None, 6),  # with two lost
        (Level.RAID1, 3, None, 1),  # with two lost
        (Level.RAID10, 6, NEAR2, 1),
        (Level.RAID10, 6, FAR2, 1),
        (Level.RAID10, 6, FAR3, 0.5),  # next members lost: 2/3 of each; next but one: 1/3
    ],
)
def test_disks_the_last_rebuild_cannot_do_without(
    level: Level, slots: int, layout: int | None, disks: float
) -> None:
    """Chen et al. 1994: G - 1 with one parity, G - 2 with two; the other copy of a mirror."""
    geometry = Geometry(level=level, slots=slots, layout=layout)
    assert exposure(geometry).rebuild_disks == pytest.approx(disks)


@pytest.mark.parametrize(
    ("terabytes", "errors_per_bit", "probability"),
    [
        (6, 1e-14, 0.381217),
        (6, 1e-15, 0.046866),
        (3, 1e-14, 0.213372),
        (3, 1e-15, 0.023714),
        (12.5, 1e-14, 0.632121),
        (16, 1e-14, 0.721963),
    ],
)
def test_unreadable_sector_bound(
    terabytes: float, errors_per_bit: float, probability: float
) -> None:
    """1 - (1 - p) ** bits, worked to six digits (reference check values)."""
    found = unreadable_sector(terabytes * 1e12, errors_per_bit)
    assert found.probability == pytest.approx(probability, abs=5e-7)


def test_chance_to_read_chens_disk_of_5_gb() -> None:
    """Table 4: one bit in 1e14 gives 99.96 % for a whole disk of 5 GB."""
    assert 1 - unreadable_sector(5e9, 1e-14).probability == pytest.approx(0.9996, abs=5e-6)


def test_a_million_hours_are_0_88_percent_a_year() -> None:
    """Hetzler 2012: as hours in a year over hours to failure; as a probability 0.872 %."""
    lives = Reliability(disk_hours=(1e6,), repair_hours=1)
    time = loss_time(exposure(Geometry(level=Level.RAID0, slots=1)), lives)
    assert HOURS_PER_YEAR / time.hours == pytest.approx(0.0088, abs=5e-5)
    assert loss_probability(time, 1) == pytest.approx(0.00872, abs=5e-6)


@given(small=st.floats(1e3, 1e13), more=st.floats(1, 100), rate=st.floats(1e-17, 1e-12))
def test_reading_more_never_lowers_the_bound(small: float, more: float, rate: float) -> None:
    less, most = unreadable_sector(small, rate), unreadable_sector(small * more, rate)
    assert 0 < less.probability <= most.probability <= 1


def test_causes_that_cannot_be_are_left_out() -> None:
    lives = Reliability(disk_hours=(1e6,), repair_hours=24)
    causes = [cause for cause, _ in loss_time(grouped(5, 5, 1), lives).by_cause]
    assert causes == [Cause.DISKS]
    striped = loss_time(grouped(4, 4, 0), replace(lives, disk_unreadable=0.1, system_hours=720))
    assert [cause for cause, _ in striped.by_cause] == [Cause.DISKS]


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="errors a bit"):
        unreadable_sector(1, 1.0)
    with pytest.raises(ValueError, match="cannot survive"):
        grouped(4, 2, 2)
