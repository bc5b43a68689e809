"""Uevents of block devices: what the kernel's messages say, and what else may come."""

from __future__ import annotations

import errno
import os
import select
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.events_block import LOST, BlockEvents, open_uevents, parse_message

KERNEL = (0, 1)
REMOVED = (
    b"remove@/devices/pci0000:00/0000:00:05.0/virtio2/block/vdb\0ACTION=remove\0"
    b"DEVPATH=/devices/pci0000:00/0000:00:05.0/virtio2/block/vdb\0SUBSYSTEM=block\0"
    b"MAJOR=254\0MINOR=16\0DEVNAME=vdb\0DEVTYPE=disk\0DISKSEQ=9\0SEQNUM=1234\0"
)
"""As lib/kobject_uevent.c and block/genhd.c put it together."""
VDB_REMOVED = KernelEvent(kind=EventKind.BLOCK, subject="vdb", action="remove")

words = st.text(st.characters(codec="utf-8", exclude_characters="\0@/"), min_size=1)


class Waiting:
    """A socket with messages, or errors, that wait in it."""

    def __init__(self, *waiting: tuple[bytes, tuple[int, int]] | OSError) -> None:
        self._waiting: Iterator[tuple[bytes, tuple[int, int]] | OSError] = iter(waiting)

    def recvfrom(self, bufsize: int, /) -> tuple[bytes, tuple[int, int]]:
        first = next(self._waiting, None) or BlockingIOError()
        if isinstance(first, OSError):
            raise first
        return first

    def fileno(self) -> int:
        return -1


def test_a_message_names_the_device_and_what_happened_to_it() -> None:
    assert parse_message(REMOVED) == VDB_REMOVED


def test_other_subsystems_are_passed_over() -> None:
    """A drive's SCSI device speaks too, and its own name may hold the word."""
    assert parse_message(REMOVED.replace(b"SUBSYSTEM=block", b"SUBSYSTEM=scsi")) is None
    assert parse_message(REMOVED.replace(b"SUBSYSTEM=block", b"X=SUBSYSTEM=block")) is None


@given(action=words, path=st.lists(words, min_size=1), pairs=st.dictionaries(words, words))
def test_any_path_and_pairs_give_the_last_name(
    action: str, path: list[str], pairs: dict[str, str]
) -> None:
    lines = [f"{action}@/{'/'.join(path)}", *(f"{key}={value}" for key, value in pairs.items())]
    message = "\0".join([*lines, "SUBSYSTEM=block", ""]).encode()
    expected = KernelEvent(kind=EventKind.BLOCK, subject=path[-1], action=action)
    assert parse_message(message) == expected


@given(st.binary(max_size=300))
def test_no_bytes_break_the_parser(message: bytes) -> None:
    event = parse_message(message)
    assert event is None or (event.subject and event.action)


@given(st.integers(0, len(REMOVED)))
def test_a_message_cut_short_is_the_event_or_nothing(length: int) -> None:
    assert parse_message(REMOVED[:length]) in (None, VDB_REMOVED)


def test_only_the_kernel_is_believed() -> None:
    """netlink(7): the kernel's port is 0; a process with privileges may send to the group."""
    forged = (REMOVED.replace(b"vdb", b"vdc"), (4711, 1))
    assert BlockEvents(Waiting(forged, (REMOVED, KERNEL))).take() == [VDB_REMOVED]


def test_dropped_messages_are_told_as_lost_and_the_rest_still_read() -> None:
    full = OSError(errno.ENOBUFS, os.strerror(errno.ENOBUFS))
    assert BlockEvents(Waiting(full, (REMOVED, KERNEL))).take() == [LOST, VDB_REMOVED]


def test_another_error_of_the_socket_is_not_hidden() -> None:
    with pytest.raises(OSError, match="Bad file descriptor"):
        BlockEvents(Waiting(OSError(errno.EBADF, os.strerror(errno.EBADF)))).take()


def test_a_storm_cannot_hold_the_reader_for_ever() -> None:
    class Endless(Waiting):
        def recvfrom(self, bufsize: int, /) -> tuple[bytes, tuple[int, int]]:
            return REMOVED, KERNEL

    assert len(BlockEvents(Endless()).take()) == 1000


def test_this_machine_s_kernel_is_heard() -> None:
    """Writing 'change' to a device's uevent file makes the kernel send one
    (Documentation/ABI/testing/sysfs-uevent); nothing is done to the device."""
    switches = sorted(Path("/sys/class/block").glob("loop*/uevent"))
    if not switches or not os.access(switches[0], os.W_OK):
        pytest.skip("no loop device here whose event may be asked for")
    with open_uevents() as opened:
        events = BlockEvents(opened)
        assert events.take() == []
        switches[0].write_text("change", encoding="ascii")
        assert select.select([events], [], [], 5)[0]
        name = switches[0].parent.name
        asked_for = KernelEvent(kind=EventKind.BLOCK, subject=name, action="change")
        assert asked_for in events.take()


def test_events_that_nobody_takes_in_time_are_told_as_lost() -> None:
    """The socket's own buffer overflows, for real; it is made small so that a few do it."""
    switches = sorted(Path("/sys/class/block").glob("loop*/uevent"))
    if not switches or not os.access(switches[0], os.W_OK):
        pytest.skip("no loop device here whose event may be asked for")
    with open_uevents() as opened:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        for _ in range(30):
            switches[0].write_text("change", encoding="ascii")
        taken = BlockEvents(opened).take()
    assert LOST in taken
    assert 1 < len(taken) < 30
