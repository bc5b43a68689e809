"""Levels against published efficiency tables and the kernel's own layouts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    ArrayModel,
    Direction,
    Expectation,
    Geometry,
    Network,
    Resource,
    ResourceKind,
    Source,
    Workload,
)
from arraygauge.theory import expect as model_expect
from arraygauge.theory.geometry import Copies, placements, raid0_zones, rows

ONE = 1.0e8
"""One drive's rate in these tests, bytes per second."""


def member(name: str, rate: float = ONE) -> Resource:
    return Resource(
        name=name,
        kind=ResourceKind.MEMBER,
        read_bytes_per_second=rate,
        write_bytes_per_second=rate,
        full_duplex=False,
        source=Source.ASSUMED,
        members=(name,),
    )


def wall(rate: float, members: int) -> Resource:
    return Resource(
        name="wall",
        kind=ResourceKind.LINK,
        read_bytes_per_second=rate,
        write_bytes_per_second=rate,
        full_duplex=True,
        source=Source.DECLARED,
        members=tuple(str(slot) for slot in range(members)),
    )


def expect(
    geometry: Geometry,
    workload: Workload,
    rates: dict[int, float] | None = None,
    shared: tuple[Resource, ...] = (),
) -> Expectation:
    rates = rates or {}
    members = tuple(
        None if slot in geometry.missing else member(str(slot), rates.get(slot, ONE))
        for slot in range(geometry.slots)
    )
    band = model_expect(
        ArrayModel(geometry=geometry, network=Network(members=members, shared=shared)), workload
    )
    assert band is not None
    return band


def ceiling(level: Level, slots: int, workload: Workload, **shape: object) -> float:
    """Ceiling in units of one drive's rate."""
    geometry = Geometry(level=level, slots=slots, **shape)  # type: ignore[arg-type]
    return expect(geometry, workload).ceiling_bytes_per_second / ONE


READ = Workload(direction=Direction.READ, queue_depth=64)
WRITE = Workload(direction=Direction.WRITE, queue_depth=64)
"""Deep enough that resources, not latency, set the pace."""


@pytest.mark.parametrize("slots", [3, 4, 5, 8])
def test_large_transfers_reach_the_published_level_efficiency(slots: int) -> None:
    """Chen et al., ACM Computing Surveys 26(2), 1994, table 3: large reads and writes
    relative to a stripe of the same members (G = group size)."""
    group = slots
    assert ceiling(Level.RAID0, slots, READ) == pytest.approx(group)
    assert ceiling(Level.RAID5, slots, READ) == pytest.approx(group * 1)
    assert ceiling(Level.RAID5, slots, WRITE) == pytest.approx(group * (group - 1) / group)
    if slots > 3:
        assert ceiling(Level.RAID6, slots, READ) == pytest.approx(group * 1)
        assert ceiling(Level.RAID6, slots, WRITE) == pytest.approx(group * (group - 2) / group)
    if slots % 2 == 0:
        assert ceiling(Level.RAID10, slots, READ) == pytest.approx(group * 1)
        assert ceiling(Level.RAID10, slots, WRITE) == pytest.approx(group / 2)


@pytest.mark.parametrize("slots", [4, 6, 8])
def test_drives_with_seeks_reach_the_lower_of_the_published_figures(slots: int) -> None:
    """Arpaci-Dusseau, Operating Systems: Three Easy Pieces, chapter 38: sequential reads
    of mirrored stripes N/2, of parity N - 1; the two sources bracket what a kernel does. Of
    near copies that is the floor: the nearest head may take runs of chunks, and pass over
    less (drivers/md/raid10.c read_balance). Offset copies lie between in any case."""
    near = expect(Geometry(level=Level.RAID10, slots=slots, seeks=True), READ)
    assert near.floor_bytes_per_second == pytest.approx(slots / 2 * ONE)
    assert near.ceiling_bytes_per_second == pytest.approx(slots * ONE)
    offset = ceiling(Level.RAID10, slots, READ, seeks=True, layout=66049)
    assert offset == pytest.approx(slots / 2)
    assert ceiling(Level.RAID5, slots, READ, seeks=True) == pytest.approx(slots - 1)
    assert ceiling(Level.RAID4, slots, READ, seeks=True) == pytest.approx(slots - 1)


def test_unknown_seeks_give_the_whole_bracket() -> None:
    band = expect(Geometry(level=Level.RAID5, slots=4, seeks=None), READ)
    assert band.floor_bytes_per_second == pytest.approx(3 * ONE)
    assert band.ceiling_bytes_per_second == pytest.approx(4 * ONE)


def test_one_stream_keeps_one_mirror_busy_and_several_more() -> None:
    """Documentation/admin-guide/md.rst and raid1.c read_balance."""
    assert ceiling(Level.RAID1, 2, READ) == pytest.approx(1)
    two = Workload(direction=Direction.READ, streams=2)
    assert ceiling(Level.RAID1, 3, two) == pytest.approx(2)
    assert ceiling(Level.RAID1, 3, WRITE) == pytest.approx(1)


def test_linear_runs_at_one_members_rate() -> None:
    band = expect(Geometry(level=Level.LINEAR, slots=3), READ, {0: ONE / 2, 1: ONE, 2: 2 * ONE})
    assert band.floor_bytes_per_second == pytest.approx(ONE / 2)
    assert band.ceiling_bytes_per_second == pytest.approx(2 * ONE)


def test_slowest_member_sets_a_stripes_pace() -> None:
    band = expect(Geometry(level=Level.RAID0, slots=4), READ, {2: ONE / 4})
    assert band.ceiling_bytes_per_second == pytest.approx(ONE)
    assert band.bottleneck.name == "2"


@pytest.mark.parametrize("slots", [3, 4, 5])
def test_wall_of_three_drives_names_the_link_from_three_members_on(slots: int) -> None:
    """A tie goes to the link: another drive could not help."""
    shape = Geometry(level=Level.RAID0, slots=slots)
    band = expect(shape, READ, shared=(wall(3 * ONE, slots),))
    assert band.ceiling_bytes_per_second == pytest.approx(3 * ONE)
    assert band.bottleneck.name == "wall"


def test_each_byte_of_a_mirrored_write_crosses_the_link_twice() -> None:
    shape = Geometry(level=Level.RAID10, slots=4)
    band = expect(shape, WRITE, shared=(wall(3 * ONE, 4),))
    assert band.ceiling_bytes_per_second == pytest.approx(1.5 * ONE)


def test_degraded_single_parity_reads_every_survivor_whole() -> None:
    shape = Geometry(level=Level.RAID5, slots=4, missing=frozenset({1}))
    assert expect(shape, READ).ceiling_bytes_per_second == pytest.approx(3 * ONE)


def test_degraded_double_parity_reads_all_survivors_of_rows_that_lost_data() -> None:
    """raid5.c fetch_block. Parity of the 4 rows lies on (3,0) (2,3) (1,2) (0,1): without
    slot 0 two rows lost data and read all 3 survivors, two lost parity and read their
    data, so slot 2 is read in all 4 rows for 8 chunks of data."""
    shape = Geometry(level=Level.RAID6, slots=4, missing=frozenset({0}))
    assert expect(shape, READ).ceiling_bytes_per_second == pytest.approx(8 / 4 * ONE)


def test_lone_survivor_of_a_pair_carries_the_pairs_reads() -> None:
    shape = Geometry(level=Level.RAID10, slots=4, missing=frozenset({0}))
    assert expect(shape, READ).ceiling_bytes_per_second == pytest.approx(2 * ONE)


def test_survivors_of_far_copies_share_what_was_lost() -> None:
    """Of chunks on (0,1) (1,2) (2,3) (3,0) the survivors hold (1) (1,2) (2,3) (3): shifting
    reads along the ring keeps all three equally busy, as the kernel's fewest pending does."""
    shape = Geometry(level=Level.RAID10, slots=4, layout=513, missing=frozenset({0}))
    assert expect(shape, READ).ceiling_bytes_per_second == pytest.approx(3 * ONE, rel=1e-3)


def test_piecemeal_parity_writes_cost_four_and_six_transfers() -> None:
    """Chen et al. 1994: a small write costs 4 transfers with single, 6 with double parity."""
    single = expect(Geometry(level=Level.RAID5, slots=8), WRITE)
    double = expect(Geometry(level=Level.RAID6, slots=12), WRITE)
    assert single.floor_bytes_per_second == pytest.approx(8 / 4 * ONE)
    assert double.floor_bytes_per_second == pytest.approx(12 / 6 * ONE)


@pytest.mark.parametrize("layout", [0, 1, 2, 3, 4, 5])
def test_single_parity_rows_hold_each_slot_once(layout: int) -> None:
    for row in rows(Level.RAID5, 5, layout):
        assert sorted((*row.data, *row.parity)) == list(range(5))


@pytest.mark.parametrize("layout", [0, 1, 2, 3, 4, 5, 8, 9, 10, 16, 17, 18, 19, 20])
def test_double_parity_rows_hold_each_slot_once(layout: int) -> None:
    for row in rows(Level.RAID6, 6, layout):
        assert sorted((*row.data, *row.parity)) == list(range(6))
        assert len(row.parity) == 2


def test_left_symmetric_parity_walks_backwards() -> None:
    """The usual layout 2: parity of row 0 on the last slot, data after it (raid5.c)."""
    first, second = rows(Level.RAID5, 4, 2)[:2]
    assert (first.parity, first.data) == ((3,), (0, 1, 2))
    assert (second.parity, second.data) == ((2,), (3, 0, 1))


@pytest.mark.parametrize("layout", [6, 7, 21, 99])
def test_layouts_md_does_not_have_are_refused(layout: int) -> None:
    with pytest.raises(ValueError, match="no parity layout"):
        rows(Level.RAID5, 4, layout)


def test_copies_are_read_from_the_layout_number() -> None:
    """near2 258, far2 513, offset2 66049: md(4) numbering, also in md.rst."""
    assert Copies.from_layout(258) == Copies(near=2, far=1, offset=False)
    assert Copies.from_layout(513) == Copies(near=1, far=2, offset=False)
    assert Copies.from_layout(66049) == Copies(near=1, far=2, offset=True)
    assert placements(Level.RAID10, 4, 258)[:2] == ((0, 1), (2, 3))
    assert placements(Level.RAID10, 4, 513)[:2] == ((0, 1), (1, 2))
    assert placements(Level.RAID10, 3, 258)[:3] == ((0, 1), (2, 0), (1, 2))


def test_unequal_stripe_members_make_narrowing_zones() -> None:
    assert raid0_zones((100, 200, 200)) == ((0, 1, 2), (1, 2))
    shape = Geometry(level=Level.RAID0, slots=3, member_bytes=(100, 200, 200))
    band = expect(shape, READ)
    assert band.floor_bytes_per_second == pytest.approx(2 * ONE)
    assert band.ceiling_bytes_per_second == pytest.approx(3 * ONE)


def test_a_sliver_of_a_zone_does_not_widen_the_band() -> None:
    shape = Geometry(level=Level.RAID0, slots=3, member_bytes=(1000, 1000, 1001))
    assert expect(shape, READ).floor_bytes_per_second == pytest.approx(3 * ONE)


LEVELS = st.sampled_from([Level.RAID0, Level.RAID5, Level.RAID6, Level.RAID10, Level.RAID1])


@given(level=LEVELS, slots=st.integers(4, 16), workload=st.sampled_from([READ, WRITE]))
def test_another_member_never_lowers_the_ceiling(
    level: Level, slots: int, workload: Workload
) -> None:
    assert ceiling(level, slots + 1, workload) >= ceiling(level, slots, workload) - 1e-9


@given(
    level=LEVELS,
    slots=st.integers(4, 12),
    workload=st.sampled_from([READ, WRITE]),
    capacity=st.floats(0.1, 20),
)
def test_a_wall_never_raises_the_band(
    level: Level, slots: int, workload: Workload, capacity: float
) -> None:
    shape = Geometry(level=level, slots=slots)
    free = expect(shape, workload)
    bound_by = expect(shape, workload, shared=(wall(capacity * ONE, slots),))
    assert bound_by.ceiling_bytes_per_second <= free.ceiling_bytes_per_second * (1 + 1e-9)
    assert bound_by.floor_bytes_per_second <= free.floor_bytes_per_second * (1 + 1e-9)


@given(
    level=st.sampled_from([Level.RAID5, Level.RAID6, Level.RAID10, Level.RAID1]),
    slots=st.integers(4, 12),
    lost=st.integers(0, 11),
)
def test_degraded_reads_never_beat_healthy_ones(level: Level, slots: int, lost: int) -> None:
    shape = Geometry(level=level, slots=slots, missing=frozenset({lost % slots}))
    whole = Geometry(level=level, slots=slots)
    degraded, healthy = expect(shape, READ), expect(whole, READ)
    assert degraded.ceiling_bytes_per_second <= healthy.ceiling_bytes_per_second * (1 + 1e-9)


@given(level=LEVELS, slots=st.integers(4, 12), workload=st.sampled_from([READ, WRITE]))
def test_floor_lies_below_ceiling_and_the_bottleneck_is_busy(
    level: Level, slots: int, workload: Workload
) -> None:
    band = expect(Geometry(level=level, slots=slots, seeks=None), workload)
    assert 0 < band.floor_bytes_per_second <= band.ceiling_bytes_per_second
    assert max(use.utilisation for use in band.uses) == pytest.approx(1)
