"""Which devices are left alone, and why."""

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
    MemberState,
    SyncAction,
)
from arraygauge.probe.plan import BurstLimits, plan_array, plan_device
from arraygauge.probe.values import ProbeRequest, Skipped, SkipReason
from arraygauge.service.targets import choose_targets
from invented import FAILED, array, drive, host, member

LIMITS = BurstLimits()
PAIR = [member("sda", 0), member("sdb", 1)]


def reason(plan: ProbeRequest | Skipped) -> SkipReason | None:
    return plan.reason if isinstance(plan, Skipped) else None


def test_a_whole_mirror_is_read_with_a_stream_for_each_mirror() -> None:
    mirror = array(Level.RAID1, PAIR, chunk_bytes=None)
    plan = plan_array(host([mirror]), mirror, LIMITS)
    assert isinstance(plan, ProbeRequest)
    assert plan.workload.streams == 2


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
