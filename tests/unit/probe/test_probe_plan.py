"""Which devices are left alone, and why; and how the others are read."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.values import (
    Array,
    ArrayState,
    BlockDevice,
    DeviceKind,
    Host,
    Level,
    Link,
    LinkKind,
    LinkRate,
    MemberState,
    SyncAction,
)
from arraygauge.probe.plan import ProbePlan, SamplingLimits, plan_array, plan_device
from arraygauge.probe.values import Route, Skipped, SkipReason
from arraygauge.service.targets import choose_targets
from invented import FAILED, array, drive, host, member

LIMITS = SamplingLimits()
REGARDLESS = SamplingLimits(while_syncing=True, even_if_busy=True)
PAIR = [member("sda", 0), member("sdb", 1)]


def reason(plan: ProbePlan | Skipped) -> SkipReason | None:
    return plan.reason if isinstance(plan, Skipped) else None


def test_a_whole_mirror_is_read_with_a_stream_for_each_mirror() -> None:
    mirror = array(Level.RAID1, PAIR, chunk_bytes=None)
    plan = plan_array(host([mirror]), mirror, LIMITS)
    assert isinstance(plan, ProbePlan)
    assert plan.workload.streams == 2
    assert plan.share_count == 2, "each mirror may be asked for its own share of bytes"


FAST_TO_FAIL = member("sdb", 1, states=(MemberState.IN_SYNC, MemberState.FAILFAST))
MIRROR = array(Level.RAID1, PAIR)


@pytest.mark.parametrize(
    ("mirror", "expected"),
    [
        (replace(MIRROR, state=ArrayState.INACTIVE), SkipReason.NOT_RUNNING),
        (replace(MIRROR, state=ArrayState.SUSPENDED), SkipReason.NOT_RUNNING),
        (replace(MIRROR, state=ArrayState.UNKNOWN), SkipReason.NOT_RUNNING),
        (replace(MIRROR, sync_action=SyncAction.CHECK), SkipReason.SYNC_RUNNING),
        (
            replace(MIRROR, members=(PAIR[0], member("sdb", **FAILED))),
            SkipReason.NO_REDUNDANCY_LEFT,
        ),
        (replace(MIRROR, members=(PAIR[0], FAST_TO_FAIL)), SkipReason.FAILFAST),
    ],
)
def test_an_array_whose_state_a_read_could_change_is_left_alone(
    mirror: Array, expected: SkipReason
) -> None:
    assert reason(plan_array(host([mirror]), mirror, LIMITS)) is expected


def test_an_array_over_an_array_that_is_left_alone_is_left_alone_too() -> None:
    weak = array(Level.RAID1, [member("sda", 0), member("sdb", **FAILED)], raid_disks=2, name="md1")
    outer = array(Level.RAID0, [member("md1", 0), member("sdc", 1)])
    drives = [drive("sda"), drive("sdb"), drive("sdc")]
    machine = host([outer, weak], drives)
    assert reason(plan_array(machine, outer, LIMITS)) is SkipReason.NO_REDUNDANCY_LEFT


def partitioned() -> Host:
    """md0 rebuilds on the first partitions of two drives; the second ones are free."""
    parts: list[BlockDevice] = []
    for disk in ("sda", "sdb"):
        parts.append(drive(disk, above=(f"{disk}1", f"{disk}2")))
        for number in (1, 2):
            above = ("md0",) if number == 1 else ()
            parts.append(
                drive(
                    f"{disk}{number}",
                    kind=DeviceKind.PARTITION,
                    disk=disk,
                    below=(disk,),
                    above=above,
                )
            )
    mirror = array(
        Level.RAID1, [member("sda1", 0), member("sdb1", 1)], sync_action=SyncAction.RECOVER
    )
    return host([mirror], parts)


def test_no_part_of_a_disk_is_probed_while_another_part_rebuilds() -> None:
    machine = partitioned()
    for name in ("sda", "sda1", "sda2"):
        device = machine.device(name)
        assert device is not None
        assert reason(plan_device(machine, device, LIMITS)) is SkipReason.SYNC_RUNNING


def test_failed_members_still_in_place_are_not_probed() -> None:
    mirror = array(Level.RAID1, [PAIR[0], member("sdb", **FAILED)], raid_disks=2)
    machine = host([mirror])
    assert [device.name for device in choose_targets(machine, ("md0",)).devices] == ["sda"]


def test_asked_for_regardless_a_synchronising_array_and_its_members_are_read() -> None:
    machine = partitioned()
    device = machine.device("sda1")
    assert device is not None
    assert isinstance(plan_device(machine, device, REGARDLESS), ProbePlan)
    assert isinstance(plan_array(machine, machine.arrays[0], REGARDLESS), ProbePlan)


def test_regardless_of_work_no_array_is_read_that_a_failing_read_could_stop() -> None:
    mirror = replace(MIRROR, members=(PAIR[0], member("sdb", **FAILED)))
    plan = plan_array(host([mirror]), mirror, REGARDLESS)
    assert reason(plan) is SkipReason.NO_REDUNDANCY_LEFT


def planned(device: BlockDevice, *others: BlockDevice, links: tuple[Link, ...] = ()) -> ProbePlan:
    plan = plan_device(host(drives=[device, *others], links=links), device, LIMITS)
    assert isinstance(plan, ProbePlan)
    return plan


def test_a_sleeping_drive_is_not_woken_unless_asked_regardless() -> None:
    asleep = drive("sda", asleep=True)
    machine = host(drives=[asleep])
    assert reason(plan_device(machine, asleep, LIMITS)) is SkipReason.ASLEEP
    assert isinstance(plan_device(machine, asleep, REGARDLESS), ProbePlan)


def test_a_drive_is_read_raw_by_the_number_it_has() -> None:
    plan = planned(drive("sda"))
    assert (plan.route, plan.path, plan.number) == (Route.RAW, "/dev/sda", drive("sda").number)
    assert plan.size_bytes == drive("sda").size_bytes


@pytest.mark.parametrize(("rotational", "depth"), [(True, 2), (None, 4), (False, 8)])
def test_a_drive_that_turns_or_may_turn_has_few_reads_before_whoever_comes_next(
    rotational: bool | None, depth: int
) -> None:
    assert planned(drive("sda", rotational=rotational)).workload.queue_depth == depth


@pytest.mark.parametrize(
    ("rotational", "slopes", "zeros_mean_nothing", "hottest"),
    [(True, True, False, 55.0), (None, True, True, 70.0), (False, False, True, 70.0)],
)
def test_what_is_known_of_the_drive_decides_how_its_places_are_taken(
    rotational: bool | None, slopes: bool, zeros_mean_nothing: bool, hottest: float
) -> None:
    plan = planned(drive("sda", rotational=rotational))
    assert plan.may_slope is slopes
    assert plan.zeros_mean_nothing_stored is zeros_mean_nothing
    assert plan.hottest_celsius == hottest


def test_an_array_is_taken_for_what_any_of_its_drives_may_be() -> None:
    mixed = [drive("sda", rotational=True), drive("sdb", rotational=False)]
    plan = plan_array(host([MIRROR], mixed), MIRROR, LIMITS)
    assert isinstance(plan, ProbePlan)
    assert plan.may_slope
    assert plan.zeros_mean_nothing_stored
    assert plan.hottest_celsius == 70.0


def test_a_partition_is_as_hot_as_its_drive_and_an_array_has_no_one_temperature() -> None:
    sensor = "/sys/class/hwmon/hwmon0/temp1_input"
    disk = drive("sda", temperature_file=sensor, above=("sda1",))
    part = drive("sda1", kind=DeviceKind.PARTITION, disk="sda", below=("sda",))
    assert planned(part, disk).temperature_file == sensor
    plan = plan_array(host([MIRROR], [disk, drive("sdb")]), MIRROR, LIMITS)
    assert isinstance(plan, ProbePlan)
    assert plan.temperature_file is None


def link(link_id: str, lanes: int | None) -> Link:
    rate = None if lanes is None else LinkRate(bits_per_second_per_lane=8 * 10**9, lanes=lanes)
    return Link(
        link_id=link_id,
        kind=LinkKind.PCIE,
        name=link_id,
        negotiated=rate,
        maximum=rate,
        parent_id=None,
    )


def test_the_slowest_link_with_a_known_rate_is_part_of_the_plan() -> None:
    links = (link("slot", 4), link("port", 1), link("hidden", None))
    device = drive("nvme0n1", link_ids=("slot", "port", "hidden"))
    slowest = planned(device, links=links).slowest_link
    assert slowest is not None
    assert slowest.link_id == "port"
    assert planned(drive("sda")).slowest_link is None


@pytest.mark.parametrize(
    "changes", [{"size_bytes": 2**20 - 1}, {"size_bytes": None}, {"logical_block_bytes": 3 << 20}]
)
def test_a_device_that_takes_no_whole_transfer_is_too_small(changes: dict[str, int]) -> None:
    odd = drive("sda", **changes)
    assert reason(plan_device(host(drives=[odd]), odd, LIMITS)) is SkipReason.TOO_SMALL
