"""Arrays of a host: nested, journalled, walled."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.values import Level, MemberState
from arraygauge.theory import (
    BARE,
    SEQUENTIAL_READ,
    SEQUENTIAL_WRITE,
    Board,
    MemberRate,
    ResourceKind,
    Source,
    Uplink,
    expect_array,
)
from invented import array, host, member

DRIVE = 100e6
RATE = MemberRate(read_bytes_per_second=DRIVE, write_bytes_per_second=DRIVE, source=Source.RATED)


def test_an_array_of_arrays_is_modelled_from_its_drives() -> None:
    """Two stripes of two, mirrored: each stripe reads 200, and both serve."""
    inner = [
        array(Level.RAID0, [member(f"sd{a}", 0), member(f"sd{b}", 1)], name=name)
        for name, a, b in (("md1", "a", "b"), ("md2", "c", "d"))
    ]
    outer = array(Level.RAID0, [member("md1", 0), member("md2", 1)])
    machine = host([outer, *inner])
    rates = dict.fromkeys(("sda", "sdb", "sdc", "sdd"), RATE)
    band = expect_array(machine, outer, rates, BARE, replace(SEQUENTIAL_READ, queue_depth=64))
    assert band is not None
    assert band.ceiling_bytes_per_second == pytest.approx(4 * DRIVE)
    assert {use.resource.source for use in band.uses} == {Source.MODELLED}


def test_a_measured_rate_of_an_inner_array_stands_before_the_model() -> None:
    inner = array(Level.RAID0, [member("sda", 0), member("sdb", 1)], name="md1")
    outer = array(Level.LINEAR, [member("md1", 0)])
    slow = replace(RATE, read_bytes_per_second=DRIVE / 2, source=Source.MEASURED)
    rates = {"sda": RATE, "sdb": RATE, "md1": slow}
    band = expect_array(host([outer, inner]), outer, rates, BARE, SEQUENTIAL_READ)
    assert band is not None
    assert band.ceiling_bytes_per_second == pytest.approx(DRIVE / 2)


def test_arrays_that_claim_each_other_give_no_expectation_and_no_loop() -> None:
    first = array(Level.RAID0, [member("md1", 0)], name="md0")
    second = array(Level.RAID0, [member("md0", 0)], name="md1")
    assert expect_array(host([first, second]), first, {}, BARE, SEQUENTIAL_READ) is None


def test_a_journal_takes_all_that_is_written_and_can_bind() -> None:
    """Four members of single parity write 4/3 of the data, all through the journal first."""
    names = ("sda", "sdb", "sdc", "sdd")
    journal = member("nvme0n1", None, states=(MemberState.JOURNAL,))
    journalled = array(
        Level.RAID5, [*(member(n, s) for s, n in enumerate(names)), journal], raid_disks=4
    )
    slow = replace(RATE, write_bytes_per_second=1.5 * DRIVE)
    rates = {**dict.fromkeys(names, RATE), "nvme0n1": slow}
    workload = replace(SEQUENTIAL_WRITE, transfer_bytes=3 * 512 * 1024, queue_depth=16)
    band = expect_array(host([journalled]), journalled, rates, BARE, workload)
    assert band is not None
    assert band.bottleneck.kind is ResourceKind.JOURNAL
    assert band.ceiling_bytes_per_second == pytest.approx(1.5 * DRIVE * 3 / 4)
    assert any("journal" in given for given in band.assumptions)


def test_a_bitmaps_cost_is_stated_for_writes_only() -> None:
    pair = array(Level.RAID1, [member("sda", 0), member("sdb", 1)], bitmap="+8")
    rates = dict.fromkeys(("sda", "sdb"), RATE)
    written = expect_array(host([pair]), pair, rates, BARE, SEQUENTIAL_WRITE)
    read = expect_array(host([pair]), pair, rates, BARE, SEQUENTIAL_READ)
    assert written is not None
    assert read is not None
    assert any("bitmap" in given for given in written.assumptions)
    assert not any("bitmap" in given for given in read.assumptions)


def test_a_wall_found_by_measurement_says_so() -> None:
    names = ("sda", "sdb", "sdc")
    stripe = array(Level.RAID0, [member(n, s) for s, n in enumerate(names)])
    found = Uplink(
        name="wall of 3",
        devices=names,
        read_bytes_per_second=2 * DRIVE,
        write_bytes_per_second=2 * DRIVE,
        source=Source.MEASURED,
    )
    board = Board(uplinks=(found,))
    band = expect_array(host([stripe]), stripe, dict.fromkeys(names, RATE), board, SEQUENTIAL_READ)
    assert band is not None
    assert (band.bottleneck.name, band.bottleneck.source) == ("wall of 3", Source.MEASURED)
