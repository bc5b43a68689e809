"""How long md's passes take: practice's figures, arithmetic, and md's own ways of reading."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level, SyncAction
from arraygauge.theory.capacity import Capacity, capacity
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.network import Network
from arraygauge.theory.rebuild import Limit, SpeedLimits, SyncBand, sync_band
from arraygauge.theory.sync_loads import SyncWork, check, recovery, repair, reshape, resync
from arraygauge.theory.values import Resource, ResourceKind, Source
from arraygauge.units import KIB

HOUR, DAY = 3600, 86_400
MB = 1_000_000
TB = 10**12
IDLE: dict[str, float] = {}
UNLIMITED = SpeedLimits(minimum_bytes_per_second=0, maximum_bytes_per_second=1e15)
NEAR2, FAR2, NEAR3 = 258, 513, 259


def member(slot: int, read: float = 150 * MB, write: float = 140 * MB) -> Resource:
    return Resource(
        name=f"m{slot}",
        kind=ResourceKind.MEMBER,
        read_bytes_per_second=read,
        write_bytes_per_second=write,
        full_duplex=False,
        source=Source.MEASURED,
        members=(f"m{slot}",),
    )


def link(slots: int, rate: float, *, full_duplex: bool = True) -> Resource:
    return replace(
        member(0, rate, rate),
        name="uplink",
        kind=ResourceKind.LINK,
        full_duplex=full_duplex,
        members=tuple(f"m{slot}" for slot in range(slots)),
    )


def network(slots: int, *shared: Resource, read: float = 150 * MB) -> Network:
    return Network(members=tuple(member(slot, read=read) for slot in range(slots)), shared=shared)


def equal(geometry: Geometry, size: int = 4 * TB) -> Capacity:
    return capacity(geometry, (size,) * geometry.slots)


def rebuilt(geometry: Geometry, target: int = 0, size: int = 4 * TB) -> SyncWork:
    work = recovery(geometry, equal(geometry, size), target)
    assert work is not None
    return work


def reads(work: SyncWork) -> list[float]:
    return [load.read for load in work.loads.ceiling.members]


def writes(work: SyncWork) -> list[float]:
    return [load.write for load in work.loads.floor.members]


RAID5 = Geometry(level=Level.RAID5, slots=4, missing=frozenset({0}))


class TestPractice:
    """practice.md, rebuild: published limits and the arithmetic on them."""

    def test_16_tb_at_the_floor_take_about_181_days(self) -> None:
        band = sync_band(rebuilt(RAID5, size=16 * TB), network(4))
        assert band.slowest.seconds / DAY == pytest.approx(181, abs=0.5)
        assert band.slowest.bound_by is Limit.MINIMUM

    def test_4_tb_at_the_ceiling_take_about_5_4_hours_however_fast_the_drives(self) -> None:
        drives = Network(members=tuple(member(slot, 7e9, 6e9) for slot in range(4)))
        band = sync_band(rebuilt(RAID5), drives, busy=IDLE)
        assert band.fastest.seconds / HOUR == pytest.approx(5.4, abs=0.05)
        assert band.fastest.bound_by is Limit.MAXIMUM


class TestWhatBinds:
    def test_the_new_member_where_it_writes_slower_than_the_others_read(self) -> None:
        band = sync_band(rebuilt(RAID5), network(4), busy=IDLE)
        assert band.fastest.bound_by == member(0)
        assert band.fastest.seconds == pytest.approx(4 * TB / (140 * MB))
        assert band.slowest == band.fastest

    def test_the_slowest_survivor(self) -> None:
        drives = Network(members=(member(0), member(1), member(2, read=90 * MB), member(3)))
        band = sync_band(rebuilt(RAID5), drives, busy=IDLE)
        assert band.fastest.bound_by == member(2, read=90 * MB)
        assert band.fastest.bytes_per_second == pytest.approx(90 * MB)

    def test_a_full_duplex_link_carries_the_survivors_reads_beside_the_write(self) -> None:
        band = sync_band(rebuilt(RAID5), network(4, link(4, 300 * MB)), busy=IDLE)
        assert band.fastest.bound_by == link(4, 300 * MB)
        assert band.fastest.bytes_per_second == pytest.approx(300 * MB / 3)

    def test_a_half_duplex_link_carries_them_in_turn(self) -> None:
        shared = link(4, 300 * MB, full_duplex=False)
        band = sync_band(rebuilt(RAID5), network(4, shared), busy=IDLE)
        assert band.fastest.bytes_per_second == pytest.approx(300 * MB / 4)

    def test_a_link_as_tight_as_the_members_is_named_rather_than_one_of_them(self) -> None:
        """Within 5 % both bind; a new drive would relieve one member, never the link."""
        band = sync_band(rebuilt(RAID5), network(4, link(4, 3 * 143 * MB)), busy=IDLE)
        assert band.fastest.bytes_per_second == pytest.approx(140 * MB)
        assert band.fastest.bound_by == link(4, 3 * 143 * MB)

    def test_parity_arithmetic_passes_each_rows_data_once(self) -> None:
        slow = replace(link(4, 240 * MB), name="xor", kind=ResourceKind.PARITY)
        drives = replace(network(4), parity=slow)
        band = sync_band(rebuilt(RAID5), drives, busy=IDLE)
        assert band.fastest.bytes_per_second == pytest.approx(240 * MB / 3)


class TestLoad:
    def test_known_load_leaves_the_rest_and_lets_md_wait_down_to_its_minimum(self) -> None:
        band = sync_band(rebuilt(RAID5), network(4), busy={"m2": 0.6})
        assert band.fastest.bytes_per_second == pytest.approx(150 * MB * 0.4)
        assert band.fastest.bound_by == member(2)
        assert band.slowest.bytes_per_second == 1000 * KIB

    def test_load_on_what_the_rebuild_does_not_use_changes_nothing(self) -> None:
        mirror = Geometry(level=Level.RAID1, slots=3, missing=frozenset({2}))
        band = sync_band(rebuilt(mirror, 2), network(3), busy={"m1": 0.9})
        assert band == sync_band(rebuilt(mirror, 2), network(3), busy=IDLE)

    def test_unknown_load_is_said_and_spans_the_whole_band(self) -> None:
        band = sync_band(rebuilt(RAID5), network(4))
        assert band.fastest.bytes_per_second == pytest.approx(140 * MB)
        assert band.slowest.bytes_per_second == 1000 * KIB
        assert any("not known" in text for text in band.assumptions)

    def test_md_insists_on_its_minimum_against_full_load(self) -> None:
        """md.c md_do_sync looks at other I/O only while above the minimum."""
        band = sync_band(rebuilt(RAID5), network(4), busy={"m1": 1.0})
        assert band.fastest.bytes_per_second == band.slowest.bytes_per_second == 1000 * KIB

    def test_hardware_below_the_minimum_sets_the_pace_itself(self) -> None:
        limits = SpeedLimits(minimum_bytes_per_second=500 * MB)
        band = sync_band(rebuilt(RAID5), network(4), limits)
        assert band.slowest.bound_by == member(0)

    def test_a_minimum_above_the_maximum_wins(self) -> None:
        """md.c md_do_sync compares with the minimum first."""
        limits = SpeedLimits(minimum_bytes_per_second=50 * MB, maximum_bytes_per_second=10 * MB)
        band = sync_band(rebuilt(RAID5), network(4), limits, busy=IDLE)
        assert band.fastest.bytes_per_second == 50 * MB


class TestWhatMdReadsAndWrites:
    """Kernel 6.1, read: raid1.c, raid5.c, raid10.c *_sync_request and their helpers."""

    def test_parity_levels_read_every_survivor_once(self) -> None:
        work = rebuilt(RAID5)
        assert reads(work) == [0, 1, 1, 1]
        assert writes(work) == [1, 0, 0, 0]
        assert work.bytes_read == 12 * TB

    def test_raid6_with_one_lost_reads_both_parities_too(self) -> None:
        """need_this_block: 'When syncing, or expanding we read everything'."""
        geometry = Geometry(level=Level.RAID6, slots=6)
        assert reads(rebuilt(geometry, 2)) == [1, 1, 0, 1, 1, 1]

    def test_raid6_with_two_lost_rebuilds_one_from_the_rest(self) -> None:
        geometry = Geometry(level=Level.RAID6, slots=6, missing=frozenset({2, 5}))
        assert reads(rebuilt(geometry, 2)) == [1, 1, 0, 1, 1, 0]

    def test_a_mirror_reads_its_first_serving_member_only(self) -> None:
        geometry = Geometry(level=Level.RAID1, slots=4, missing=frozenset({0}))
        assert reads(rebuilt(geometry, 0)) == [0, 1, 0, 0]
        assert rebuilt(geometry, 0).bytes_read == 4 * TB

    def test_near_copies_read_the_partner(self) -> None:
        geometry = Geometry(level=Level.RAID10, slots=6, layout=NEAR2)
        assert reads(rebuilt(geometry, 3)) == [0, 0, 1, 0, 0, 0]

    def test_far_copies_read_half_from_each_neighbour(self) -> None:
        geometry = Geometry(level=Level.RAID10, slots=4, layout=FAR2)
        assert reads(rebuilt(geometry, 1)) == [0.5, 0, 0.5, 0]

    def test_a_check_reads_all_and_writes_nothing(self) -> None:
        geometry = Geometry(level=Level.RAID6, slots=5)
        work = check(geometry, equal(geometry))
        assert work is not None
        assert (reads(work), writes(work)) == ([1] * 5, [0] * 5)

    def test_a_repair_writes_from_nothing_to_all_parity(self) -> None:
        geometry = Geometry(level=Level.RAID6, slots=5)
        work = repair(geometry, equal(geometry))
        assert work is not None
        assert work.bytes_written == pytest.approx((0, 2 * 4 * TB))

    def test_a_mirrors_resync_reads_one_and_rewrites_the_others(self) -> None:
        geometry = Geometry(level=Level.RAID1, slots=3)
        work = resync(geometry, equal(geometry))
        assert work is not None
        assert (reads(work), writes(work)) == ([1, 0, 0], [0, 1, 1])

    def test_a_mirrors_repair_reads_all(self) -> None:
        geometry = Geometry(level=Level.RAID1, slots=3)
        work = repair(geometry, equal(geometry))
        assert work is not None
        assert (reads(work), writes(work)) == ([1, 1, 1], [0, 1, 1])

    def test_raid10_checks_are_counted_in_bytes_of_the_array(self) -> None:
        """raid10.c raid10_run: resync_max_sectors is the array's size, so the same limit
        takes N/copies times as long as on a parity level of the same members."""
        mirrored = Geometry(level=Level.RAID10, slots=8, layout=NEAR2)
        parity = Geometry(level=Level.RAID5, slots=8)
        fast = Network(members=tuple(member(slot, 7e9, 6e9) for slot in range(8)))
        first, second = check(mirrored, equal(mirrored)), check(parity, equal(parity))
        assert first is not None
        assert second is not None
        assert reads(first) == [2 / 8] * 8
        mirror_band = sync_band(first, fast, busy=IDLE)
        parity_band = sync_band(second, fast, busy=IDLE)
        assert mirror_band.fastest.bound_by is Limit.MAXIMUM
        assert mirror_band.fastest.seconds == pytest.approx(4 * parity_band.fastest.seconds)

    def test_a_reshape_reads_old_rows_once_and_writes_new_rows_once(self) -> None:
        geometry = Geometry(level=Level.RAID5, slots=5)
        work = reshape(geometry, equal(geometry), previous_slots=4)
        assert work is not None
        assert (reads(work), writes(work)) == ([1, 1, 1, 1, 0], [1] * 5)
        band = sync_band(work, network(5), UNLIMITED, busy=IDLE)
        both = 4 * TB / (150 * MB) + 4 * TB / (140 * MB)
        assert band.fastest.seconds == pytest.approx(both)

    @pytest.mark.parametrize(
        "geometry",
        [
            Geometry(level=Level.RAID0, slots=3),
            Geometry(level=Level.LINEAR, slots=3),
            Geometry(level=Level.RAID5, slots=4, missing=frozenset({1})),
            Geometry(level=Level.RAID10, slots=4, layout=NEAR2, missing=frozenset({1})),
        ],
    )
    def test_what_cannot_be_rebuilt_has_no_time(self, geometry: Geometry) -> None:
        assert recovery(geometry, equal(geometry), 0) is None

    def test_what_has_nothing_to_compare_is_not_checked_or_reshaped(self) -> None:
        striped = Geometry(level=Level.RAID0, slots=3)
        mirror = Geometry(level=Level.RAID1, slots=2)
        assert check(striped, equal(striped)) is None
        assert reshape(mirror, equal(mirror), previous_slots=2) is None


LEVELS = st.sampled_from(
    [
        Geometry(level=Level.RAID1, slots=3),
        Geometry(level=Level.RAID5, slots=5),
        Geometry(level=Level.RAID6, slots=6),
        Geometry(level=Level.RAID10, slots=5, layout=NEAR2),
        Geometry(level=Level.RAID10, slots=6, layout=NEAR3),
        Geometry(level=Level.RAID10, slots=4, layout=FAR2),
    ]
)
ACTIONS = st.sampled_from([SyncAction.RECOVER, SyncAction.RESYNC, SyncAction.REPAIR])


def pass_of(geometry: Geometry, action: SyncAction) -> SyncWork:
    makers = {SyncAction.RESYNC: resync, SyncAction.REPAIR: repair}
    if action is SyncAction.RECOVER:
        return rebuilt(geometry, 1)
    work = makers[action](geometry, equal(geometry))
    assert work is not None
    return work


def banded(
    work: SyncWork, geometry: Geometry, busy: dict[str, float] | None, wall: float
) -> SyncBand:
    return sync_band(work, network(geometry.slots, link(geometry.slots, wall)), busy=busy)


@given(
    geometry=LEVELS,
    action=ACTIONS,
    wall=st.floats(10e6, 2e9),
    busy=st.dictionaries(st.sampled_from(["m0", "m2", "uplink"]), st.floats(0, 0.99), max_size=3),
)
def test_load_never_speeds_a_pass_up_and_bands_are_in_order(
    geometry: Geometry, action: SyncAction, wall: float, busy: dict[str, float]
) -> None:
    work = pass_of(geometry, action)
    loaded, idle = banded(work, geometry, busy, wall), banded(work, geometry, IDLE, wall)
    unknown = banded(work, geometry, None, wall)
    for band in (loaded, idle, unknown):
        assert band.slowest.seconds >= band.fastest.seconds > 0
    assert loaded.fastest.seconds >= idle.fastest.seconds * (1 - 1e-9)
    assert unknown.slowest.seconds >= loaded.slowest.seconds * (1 - 1e-9)
    assert unknown.fastest == idle.fastest


@given(geometry=LEVELS, action=ACTIONS)
def test_what_is_read_is_enough_to_write_what_is_written(
    geometry: Geometry, action: SyncAction
) -> None:
    """No member is both a rebuild's source and its target, and nothing moves unread."""
    work = pass_of(geometry, action)
    least, most = work.bytes_written
    assert least <= most
    assert work.bytes_read > 0
    if action is SyncAction.RECOVER:
        assert least == most == work.counted_bytes
        assert reads(work)[1] == 0


def test_work_for_a_slot_without_a_member_is_a_mistake() -> None:
    drives = Network(members=(None, member(1), member(2), member(3)))
    with pytest.raises(ValueError, match="slot 0"):
        sync_band(rebuilt(RAID5), drives)


def test_a_busy_share_is_a_share() -> None:
    with pytest.raises(ValueError, match="busy share"):
        sync_band(rebuilt(RAID5), network(4), busy={"m1": 1.5})
