"""The md files that are kept open and armed, in a tree of plain files and with no kernel.

A plain file never wakes a poller: what the kernel does is proven in the lab.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from arraygauge.inventory import events_md
from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.events_md import WAKES, MdEvents
from arraygauge.inventory.tree import Tree


class Registered:
    """A poller that only keeps what is registered."""

    def __init__(self) -> None:
        self.masks: dict[int, int] = {}

    def register(self, fd: int, eventmask: int, /) -> None:
        assert fd not in self.masks
        self.masks[fd] = eventmask

    def unregister(self, fd: int, /) -> None:
        del self.masks[fd]

    @property
    def paths(self) -> dict[str, int]:
        """Descriptor of each file held open, by path."""
        return {os.readlink(f"/proc/self/fd/{fd}"): fd for fd in self.masks}


class Machine:
    """A tree with arrays, and what watches it."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.poller = Registered()
        self.write("proc/mdstat", "Personalities : [raid0]\nunused devices: <none>\n")
        self.watch = MdEvents(self.poller, Tree(root=root))

    def write(self, path: str, text: str) -> None:
        (self.root / path).parent.mkdir(parents=True, exist_ok=True)
        (self.root / path).write_text(text, encoding="ascii")

    def add_array(self, name: str, *members: str, redundant: bool = True) -> None:
        md = f"sys/class/block/{name}/md"
        self.write(f"{md}/array_state", "clean\n")
        for attribute in ("degraded", "sync_action") if redundant else ():
            self.write(f"{md}/{attribute}", "\n")
        for member in members:
            self.write(f"{md}/dev-{member}/state", "in_sync\n")

    def remove(self, path: str) -> None:
        shutil.rmtree(self.root / path)

    def watched(self) -> set[str]:
        self.watch.refresh()
        below = f"{self.root}/"
        return {path.removeprefix(below) for path in self.poller.paths}

    def wake(self, path: str) -> list[tuple[str, str]]:
        """What is told when the file wakes the poller: array and file."""
        events = self.watch.take(self.poller.paths[str(self.root / path)])
        assert {event.kind for event in events} <= {EventKind.MD}
        return [(event.subject, event.action) for event in events]


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


def test_all_that_can_be_polled_of_every_array_is_watched(machine: Machine) -> None:
    machine.add_array("md0", "sda", "sdb")
    machine.add_array("md_stripe", "sdc", redundant=False)
    machine.add_array("sdd", "sde")  # no array has a name like that: md_alloc, drivers/md/md.c
    machine.write("sys/class/block/md0p1/partition", "1\n")
    md0, stripe = "sys/class/block/md0/md", "sys/class/block/md_stripe/md"
    assert machine.watched() == {
        "proc/mdstat",
        *(f"{md0}/{name}" for name in ("array_state", "degraded", "sync_action")),
        *(f"{md0}/dev-{name}/state" for name in ("sda", "sdb")),
        *(f"{stripe}/{name}" for name in ("array_state", "dev-sdc/state")),
    }
    assert set(machine.poller.masks.values()) == {WAKES}


def test_a_second_look_opens_nothing_twice_and_closing_gives_all_back(machine: Machine) -> None:
    machine.add_array("md0", "sda")
    machine.watch.refresh()
    before = dict(machine.poller.masks)
    machine.watch.refresh()
    assert machine.poller.masks == before
    open_before = len(os.listdir("/proc/self/fd"))
    machine.watch.close()
    assert machine.poller.masks == {}
    assert len(os.listdir("/proc/self/fd")) == open_before - len(before)


def test_without_md_nothing_is_watched_until_it_is_loaded(machine: Machine) -> None:
    (machine.root / "proc/mdstat").unlink()
    assert machine.watched() == set()
    machine.write("proc/mdstat", "")
    assert machine.watched() == {"proc/mdstat"}


def test_arrays_and_members_are_followed_as_they_come_and_go(machine: Machine) -> None:
    machine.add_array("md0", "sda", "sdb", redundant=False)
    md = "sys/class/block/md0/md"
    assert f"{md}/dev-sdb/state" in machine.watched()
    machine.remove(f"{md}/dev-sdb")
    machine.add_array("md1", redundant=False)
    state = "sys/class/block/md1/md/array_state"
    kept = {"proc/mdstat", f"{md}/array_state", f"{md}/dev-sda/state"}
    assert machine.watched() == kept | {state}
    machine.remove("sys/class/block/md1")
    machine.write(f"{md}/dev-sdb/state", "spare\n")
    assert machine.watched() == kept | {f"{md}/dev-sdb/state"}


def test_a_wake_names_the_array_and_the_file(machine: Machine) -> None:
    machine.add_array("md0", "sda")
    machine.watch.refresh()
    md = "sys/class/block/md0/md"
    assert machine.wake("proc/mdstat") == [("mdstat", "mdstat")]
    assert machine.wake(f"{md}/degraded") == [("md0", "degraded")]
    assert machine.wake(f"{md}/dev-sda/state") == [("md0", "dev-sda/state")]


def test_pauses_in_writing_are_no_news_but_every_other_state_is(machine: Machine) -> None:
    machine.add_array("md0")
    machine.watch.refresh()
    state = "sys/class/block/md0/md/array_state"
    told: dict[str, bool] = {}
    for word in ("active", "active-idle", "write-pending", "clean", "broken", "clean", "readonly"):
        machine.write(state, f"{word}\n")
        told.setdefault(word, bool(machine.wake(state)))
    assert told == {
        **dict.fromkeys(("active", "active-idle", "write-pending", "clean"), False),
        **dict.fromkeys(("broken", "readonly"), True),
    }


def test_a_return_from_broken_to_clean_is_news(machine: Machine) -> None:
    machine.add_array("md0")
    state = "sys/class/block/md0/md/array_state"
    machine.write(state, "broken\n")
    machine.watch.refresh()
    machine.write(state, "clean\n")
    assert machine.wake(state) == [("md0", "array_state")]


def test_a_file_that_vanished_is_told_once_and_closed(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """kernfs wakes whoever polls a removed attribute for ever; reading it gives ENODEV."""
    machine.add_array("md0", "sda")
    machine.watch.refresh()
    state = "sys/class/block/md0/md/dev-sda/state"
    descriptor = machine.poller.paths[str(machine.root / state)]

    def gone(*_arguments: object) -> bytes:
        raise OSError(19, "No such device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "pread", gone)
        assert machine.wake(state) == [("md0", "dev-sda/state")]
    assert descriptor not in machine.poller.masks
    assert machine.watch.take(descriptor) == []
    assert state in machine.watched()  # added again under the same name


def test_arming_mdstat_reads_no_more_than_its_first_line(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Printing an array may wait for its bitmap; the kernel prints what is asked for."""
    asked = []
    read = os.pread

    def count(descriptor: int, length: int, offset: int) -> bytes:
        asked.append((length, offset))
        return read(descriptor, length, offset)

    monkeypatch.setattr(os, "pread", count)
    machine.watch.refresh()
    machine.wake("proc/mdstat")
    assert asked == [(1, 0), (1, 0)]


def test_more_files_than_may_be_open_are_left_to_mdstat(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(events_md, "MOST_WATCHED", 5)
    machine.add_array("md0", *(f"sd{letter}" for letter in "abcdefgh"))
    machine.add_array("md1", redundant=False)
    watched = machine.watched()
    assert len(watched) == 5
    assert watched >= {"proc/mdstat", "sys/class/block/md1/md/array_state"}


def test_a_descriptor_of_others_is_not_taken(machine: Machine) -> None:
    assert machine.watch.take(0) == []


def test_events_compare_so_that_a_burst_can_be_told_once() -> None:
    first = KernelEvent(kind=EventKind.MD, subject="md0", action="degraded")
    again = KernelEvent(kind=EventKind.MD, subject="md0", action="degraded")
    assert len({first, again}) == 1
