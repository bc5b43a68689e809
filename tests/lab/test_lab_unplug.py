"""Drives leave in the middle of a read, and come back under the old name or another."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from lab import ArraySpec, Guest, LabError, Machine
from lab.foreground import Foreground, Work
from lab.own_machine import MACHINE

UNPLUG_SECONDS = 3


@pytest.fixture(scope="module")
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    """One machine for all of these: a drive that was replugged is as good as before."""
    return boot_lab(MACHINE)


ENDS = ("No such device", "Input/output error", "0 bytes instead of")
"""How reads of a device that is gone end, seen with kernel 6.1: an error or, more often, with
no bytes and no error, for its size is 0 then."""


@pytest.mark.parametrize("drive", ["f0", "f1", "ahci-bad"])
def test_a_drive_is_unplugged_in_mid_read_and_comes_back_under_another_name(
    guest: Guest, drive: str
) -> None:
    before = guest.device(drive)
    reader = Foreground(guest, Work(path=f"/dev/{before}", seconds=30, depth=4))
    reader.begin()
    time.sleep(0.5)
    began = time.monotonic()
    guest.unplug(drive, reserve_name=True)
    assert time.monotonic() - began < UNPLUG_SECONDS
    report = reader.report(10)
    assert any(end in str(report.failure) for end in ENDS), report.failure
    assert report.requests > 4
    after = guest.replug(drive)
    assert after == guest.device(drive) != before
    guest.run(f"dd if=/dev/{after} of=/dev/null bs=1M count=4 iflag=direct").checked()


def test_two_drives_come_back_under_each_others_name_with_their_contents(guest: Guest) -> None:
    first, second = guest.device("f2"), guest.device("virtio-bad")
    head = f"head -c 4096 /dev/{first} | sha256sum"
    sum_of_first = guest.run(head).stdout
    for drive in ("f2", "virtio-bad"):
        guest.unplug(drive)
    order = ("f2", "virtio-bad") if first > second else ("virtio-bad", "f2")
    for drive in order:
        guest.replug(drive)
    assert (guest.device("f2"), guest.device("virtio-bad")) == (second, first)
    assert guest.run(head.replace(first, second)).stdout == sum_of_first


def test_an_unplugged_drive_has_no_counters(guest: Guest) -> None:
    guest.unplug("f3")
    with pytest.raises(LabError, match="no plugged drive 'f3'"):
        guest.counters("f3")
    guest.replug("f3")
    assert guest.counters("f3").written_bytes == 0


def test_a_member_of_a_stripe_is_unplugged(guest: Guest) -> None:
    guest.create(ArraySpec(name="md9", level="raid0", members=("f0", "f3")))
    guest.unplug("f3")
    assert guest.read("/sys/block/md9/md/array_state") == "clean\n"
