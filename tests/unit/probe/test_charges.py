"""Who pays for a burst: never less than what the model says a device moved."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import DeviceKind, Host, Level, MemberState
from arraygauge.probe.budget import Allowance
from arraygauge.probe.charges import affordable, charges, shares_of
from arraygauge.probe.shares import Share, slot_shares
from arraygauge.probe.writes.endurance import WriteAllowance
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.levels import level_loads
from arraygauge.theory.loads import Case
from arraygauge.theory.values import Access, Direction, Workload
from arraygauge.units import KIB, MIB
from invented import FAILED, array, drive, host, member

READ = Workload(direction=Direction.READ)
WRITE = Workload(direction=Direction.WRITE)
FOUR = [member(name, slot) for slot, name in enumerate(("sda", "sdb", "sdc", "sdd"))]


def members_of(level: Level, workload: Workload, count: int = 4, **changes: object) -> list[Share]:
    """The shares of the members alone, in the order of their slots."""
    machine = host([replace(array(level, FOUR[:count]), **changes)])  # type: ignore[arg-type]
    found = shares_of(machine, "md0", workload)
    return [found.get(f"invented-{each.name}", Share()) for each in FOUR[:count]]


def test_an_array_is_charged_with_its_members() -> None:
    found = shares_of(host([array(Level.RAID0, FOUR)]), "md0", READ)
    assert found["invented-md0"] == Share(read=1.0)
    assert {key for key in found if key != "invented-md0"} == {
        f"invented-{each.name}" for each in FOUR
    }


def test_a_stripe_shares_reads_and_writes_evenly() -> None:
    assert members_of(Level.RAID0, READ) == [Share(read=0.25)] * 4
    assert members_of(Level.RAID0, WRITE) == [Share(written=0.25)] * 4


def test_each_mirror_may_have_served_every_read_and_takes_every_write() -> None:
    assert members_of(Level.RAID1, READ) == [Share(read=1.0)] * 4
    assert members_of(Level.RAID1, WRITE) == [Share(written=1.0)] * 4


def test_a_write_mostly_mirror_pays_for_no_reads_while_another_serves() -> None:
    slow = member("sdb", 1, states=(MemberState.IN_SYNC, MemberState.WRITE_MOSTLY))
    found = shares_of(host([array(Level.RAID1, [FOUR[0], slow])]), "md0", READ)
    assert "invented-sdb" not in found


def test_two_copies_over_four_drives_write_each_byte_twice() -> None:
    written = members_of(Level.RAID10, WRITE)
    assert written == [Share(written=0.5)] * 4


def test_healthy_parity_is_not_read() -> None:
    """Chen et al. 1994: data is read from all disks in turn."""
    assert [share.read for share in members_of(Level.RAID5, READ)] == pytest.approx([0.25] * 4)


def test_large_writes_cost_width_over_data() -> None:
    """RAID 5 of 4: four blocks written for three of data (Chen et al. 1994, Table 3, large
    writes); a 256 MiB transfer has next to no rows in part."""
    large = replace(WRITE, transfer_bytes=256 * MIB)
    total = sum(share.written for share in members_of(Level.RAID5, large))
    assert total == pytest.approx(4 / 3, rel=0.01)
    total = sum(share.written for share in members_of(Level.RAID6, large))
    assert total == pytest.approx(4 / 2, rel=0.01)


def test_small_writes_cost_every_parity_block() -> None:
    """Chen et al. 1994: a small write of RAID 5 is 2 writes and 2 reads, of P+Q 3 and 3."""
    small = replace(WRITE, transfer_bytes=4 * KIB)
    for level, writes in ((Level.RAID5, 2), (Level.RAID6, 3)):
        shares = members_of(level, small)
        assert sum(share.written for share in shares) == pytest.approx(writes)
        assert sum(share.read for share in shares) >= writes


def test_a_lost_member_pays_nothing_and_the_rest_read_for_it() -> None:
    lost = [*FOUR[:3], member("sdd", **FAILED)]
    degraded = array(Level.RAID5, lost, raid_disks=4, degraded=1)
    found = shares_of(host([degraded]), "md0", READ)
    assert "invented-sdd" not in found
    assert found["invented-sda"].read == pytest.approx(0.5)  # its own quarter, and the lost one


def test_a_journal_takes_every_write() -> None:
    journal = member("sde", None, states=(MemberState.JOURNAL,))
    machine = host([array(Level.RAID5, [*FOUR, journal], raid_disks=4)])
    assert shares_of(machine, "md0", WRITE)["invented-sde"] == Share(written=1.0)
    assert "invented-sde" not in shares_of(machine, "md0", READ)


def test_a_spare_pays_nothing() -> None:
    spare = member("sde", None, states=(MemberState.SPARE,))
    machine = host([array(Level.RAID5, [*FOUR, spare], raid_disks=4)])
    assert "invented-sde" not in shares_of(machine, "md0", WRITE)


def test_a_partition_is_charged_to_its_disk() -> None:
    part = drive("sda1", kind=DeviceKind.PARTITION, disk="sda", below=("sda",))
    machine = host([], [drive("sda", above=("sda1",)), part])
    assert shares_of(machine, "sda1", READ) == {
        "invented-sda1": Share(read=1.0),
        "invented-sda": Share(read=1.0),
    }


def test_two_partitions_of_one_disk_in_one_array_are_added() -> None:
    parts = [
        drive(f"sda{n}", kind=DeviceKind.PARTITION, disk="sda", below=("sda",)) for n in (1, 2)
    ]
    stripe = array(Level.RAID0, [member("sda1", 0), member("sda2", 1)])
    machine = host([stripe], [drive("sda"), *parts])
    assert shares_of(machine, "md0", WRITE)["invented-sda"] == Share(written=1.0)


def test_two_paths_to_one_drive_are_one_drive() -> None:
    paths = [drive(name, stable_id="the-drive") for name in ("sda", "sdb")]
    top = drive("dm-0", kind=DeviceKind.MAPPED, below=("sda", "sdb"))
    assert shares_of(host([], [*paths, top]), "dm-0", READ)["the-drive"] == Share(read=1.0)


def test_a_mirror_of_stripes_is_charged_down_to_the_drives() -> None:
    inner = replace(array(Level.RAID0, FOUR[:2]), name="md1")
    outer = array(Level.RAID1, [member("md1", 0), member("sdc", 1)])
    machine = host([inner, outer], [drive(name) for name in ("sda", "sdb", "sdc")])
    found = shares_of(machine, "md0", WRITE)
    assert found["invented-md1"] == found["invented-sdc"] == Share(written=1.0)
    assert found["invented-sda"] == found["invented-sdb"] == Share(written=0.5)


def test_an_array_of_unknown_shape_charges_every_member_with_all() -> None:
    machine = host([array(Level.UNKNOWN, FOUR)])
    assert shares_of(machine, "md0", READ)["invented-sdd"] == Share(read=1.0)


def test_a_device_that_is_gone_pays_nothing() -> None:
    assert shares_of(host(), "sdz", READ) == {}


def test_charges_round_up_and_give_everyone_the_whole_time() -> None:
    third = shares_of(host([array(Level.RAID0, FOUR[:3])]), "md0", READ)
    found = {each.device_id: each for each in charges(third, moved_bytes=100, busy_seconds=2.5)}
    assert found["invented-sda"].read_bytes == 34
    assert {each.busy_seconds for each in found.values()} == {2.5}


levels = st.sampled_from([level for level in Level if level is not Level.UNKNOWN])


@st.composite
def geometries(draw: st.DrawFn) -> Geometry:
    level = draw(levels)
    slots = draw(st.integers(4, 8))
    layouts = {
        Level.RAID5: st.integers(0, 5),
        Level.RAID6: st.sampled_from([0, 1, 2, 3, 4, 5, 8, 9, 10, 16, 17, 18, 19, 20]),
        Level.RAID10: st.sampled_from([258, 513, 66049, 514, 259]),
    }
    missing = 0
    if level in (Level.RAID4, Level.RAID5, Level.RAID6, Level.RAID1):
        missing = draw(st.integers(0, 1))
    return Geometry(
        level=level,
        slots=slots,
        chunk_bytes=draw(st.sampled_from([64, 128, 512])) * KIB,
        layout=draw(layouts[level]) if level in layouts else None,
        missing=frozenset(range(missing)),
        seeks=draw(st.booleans()),
    )


@given(
    geometries(),
    st.sampled_from(Direction),
    st.sampled_from(Access),
    st.sampled_from([4, 32, 128, 512, 1024, 3072, 8192]),
    st.integers(0, 4096),
)
def test_no_member_is_charged_less_than_the_model_says_it_moves(
    geometry: Geometry, direction: Direction, access: Access, transfer: int, offset: int
) -> None:
    """The model counts time: heads that pass over a copy or parity cost the time of reading
    it, so its loads may be above what is moved, and are compared for members without seeks."""
    geometry = replace(geometry, seeks=False)
    workload = Workload(
        direction=direction,
        access=access,
        transfer_bytes=transfer * KIB,
        offset_bytes=offset * 4 * KIB,
    )
    rates = tuple(float(slot in geometry.serving) for slot in range(geometry.slots))
    loads = level_loads(Case(geometry=geometry, workload=workload, rates=rates))
    for bound in (loads.floor, loads.ceiling):
        for share, load in zip(slot_shares(geometry, workload), bound.members, strict=True):
            assert share.read >= load.read - 1e-9
            assert share.written >= load.write - 1e-9


def machine_and_shares() -> tuple[Host, dict[str, Share]]:
    machine = host([array(Level.RAID0, FOUR[:2])])
    return machine, shares_of(machine, "md0", READ)


def test_an_array_may_take_what_its_poorest_member_can_bear() -> None:
    _, shares = machine_and_shares()
    plenty = Allowance(bytes_left=10_000, seconds_left=60.0)
    left = affordable(
        shares,
        {
            "invented-md0": plenty,
            "invented-sda": replace(plenty, bytes_left=300),
            "invented-sdb": replace(plenty, seconds_left=7.0),
        },
    )
    assert left == Allowance(bytes_left=600, seconds_left=7.0)


def test_the_member_in_the_way_the_longest_is_named() -> None:
    _, shares = machine_and_shares()
    plenty = Allowance(bytes_left=10_000, seconds_left=60.0)
    soon = Allowance(bytes_left=0, seconds_left=1.0, why_none="spent", more_at_seconds=10.0)
    late = replace(soon, more_at_seconds=20.0)
    left = affordable(shares, {"invented-md0": plenty, "invented-sda": late, "invented-sdb": soon})
    assert left.bytes_left == 0
    assert (left.why_none, left.more_at_seconds) == ("invented-sda: spent", 20.0)


def test_writes_stay_within_every_drive_s_endurance() -> None:
    machine = host([array(Level.RAID1, FOUR[:2])])
    shares = shares_of(machine, "md0", WRITE)
    plenty = Allowance(bytes_left=10_000, seconds_left=60.0)
    worn = WriteAllowance(
        bytes_left=70, year_bytes=100, endurance_bytes=10**5, assumed=False, basis="rated"
    )
    left = affordable(shares, dict.fromkeys(shares, plenty), {"invented-sdb": worn})
    assert (left.bytes_left, left.seconds_left) == (70, 60.0)


@given(
    st.dictionaries(
        st.text(max_size=3),
        st.tuples(st.floats(0.01, 3.0), st.integers(0, 10**12)),
        min_size=1,
    )
)
def test_what_is_affordable_is_within_every_allowance_when_charged(
    devices: dict[str, tuple[float, int]],
) -> None:
    shares = {key: Share(read=share) for key, (share, _) in devices.items()}
    allowances = {
        key: Allowance(bytes_left=left, seconds_left=1.0) for key, (_, left) in devices.items()
    }
    most = affordable(shares, allowances)
    for charge in charges(shares, moved_bytes=most.bytes_left, busy_seconds=1.0):
        assert allowances[charge.device_id].covers(charge.moved_bytes, charge.busy_seconds)
