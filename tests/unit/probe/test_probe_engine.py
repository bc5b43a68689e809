"""The reading loop: what it reads, in which order, how deep, and what it stops for.

The reader is replaced by one whose speed and faults are known; everything else is
the child's own code.
"""

from __future__ import annotations

import ctypes
import errno
import json
import threading
import time
from collections.abc import Callable
from itertools import pairwise
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.child import Burst, aligned_buffers, report, scattered
from arraygauge.probe.reply import Reply, parse_reply

KIB, MIB = 1 << 10, 1 << 20


def asked(**changes: object) -> SimpleNamespace:
    usual: dict[str, object] = {
        "path": "/dev/null",
        "number": None,
        "random": False,
        "seed": 0,
        "transfer_bytes": 64 * KIB,
        "queue_depth": 4,
        "streams": 1,
        "extents": [[0, 64 * MIB]],
        "warm_up_seconds": 0.0,
        "seconds": 10.0,
        "max_bytes": 1 << 40,
    }
    return SimpleNamespace(**(usual | changes))


class Drive:
    """Reads nothing, in a known time, and remembers what was asked."""

    def __init__(self, bytes_per_second: float | None = None) -> None:
        self.bytes_per_second = bytes_per_second
        self.offsets: list[int] = []
        self.in_flight = self.deepest = 0
        self.free_at = 0.0
        self.lock = threading.Lock()

    def __call__(self, fd: int, into: list[memoryview], offset: int) -> int:
        size = len(into[0])
        with self.lock:
            self.offsets.append(offset)
            self.in_flight += 1
            self.deepest = max(self.deepest, self.in_flight)
            seconds = size / self.bytes_per_second if self.bytes_per_second else 0.0
            self.free_at = max(self.free_at, time.perf_counter()) + seconds
            done_at = self.free_at
        time.sleep(max(done_at - time.perf_counter(), 0))
        with self.lock:
            self.in_flight -= 1
        return size


def run(
    request: SimpleNamespace, read: Callable[[int, list[memoryview], int], int]
) -> tuple[Burst, Reply]:
    progress = memoryview(bytearray(8)).cast("Q")
    burst = Burst(request, read, progress)
    burst.run(-1)
    assert progress[0] == burst.read_bytes
    return burst, parse_reply(json.dumps(report(burst, 1)).encode())


def test_a_slow_drive_is_measured_within_four_per_cent_in_half_a_second() -> None:
    """20 MB/s, 1 MiB × 8: one transfer is a tenth of the time there is. What is left is
    the machine's own punctuality; see the window's tests for the exact figures."""
    request = asked(transfer_bytes=MIB, queue_depth=8, seconds=0.6, warm_up_seconds=0.1)
    _, reply = run(request, Drive(bytes_per_second=20e6))
    assert reply.places[0].bytes_per_second == pytest.approx(20e6, rel=0.04)


def test_the_queue_is_kept_as_deep_as_asked_and_no_deeper() -> None:
    drive = Drive(bytes_per_second=20e6)
    run(asked(queue_depth=6, extents=[[0, 4 * MIB]]), drive)
    assert drive.deepest == 6


def test_a_sequential_burst_reads_each_place_of_each_extent_once_in_order() -> None:
    drive = Drive()
    run(asked(queue_depth=1, extents=[[MIB, MIB], [8 * MIB, MIB]]), drive)
    wanted = [*range(MIB, 2 * MIB, 64 * KIB), *range(8 * MIB, 9 * MIB, 64 * KIB)]
    assert drive.offsets == wanted


def test_streams_divide_the_extent_and_the_queue_among_them() -> None:
    """Two streams of depth two begin at the two halves, and between them read it all."""
    drive = Drive(bytes_per_second=200e6)
    run(asked(queue_depth=4, streams=2, extents=[[0, 2 * MIB]]), drive)
    assert {0, MIB} <= set(drive.offsets[:4])
    assert len(set(drive.offsets)) == len(drive.offsets) >= 16


def test_random_reads_stay_in_the_extent_and_repeat_no_place() -> None:
    drive = Drive()
    run(asked(random=True, transfer_bytes=4096, extents=[[MIB, MIB]]), drive)
    assert sorted(drive.offsets) == list(range(MIB, 2 * MIB, 4096))


def test_no_more_is_read_than_the_byte_budget_and_each_extent_has_its_share() -> None:
    drive = Drive()
    burst, reply = run(asked(extents=[[0, MIB], [8 * MIB, MIB]], max_bytes=MIB), drive)
    assert burst.read_bytes == MIB
    assert sum(offset < MIB for offset in drive.offsets) == 8
    assert reply.budget_spent


def test_an_extent_read_to_its_end_has_not_spent_the_budget() -> None:
    _, reply = run(asked(extents=[[0, MIB]]), Drive())
    assert not reply.budget_spent
    assert reply.bytes_read == MIB


def test_time_is_shared_among_the_extents() -> None:
    request = asked(extents=[[0, 1 << 40], [1 << 41, 1 << 40]], seconds=0.4)
    began = time.perf_counter()
    _, reply = run(request, Drive(bytes_per_second=50e6))
    assert 0.4 <= time.perf_counter() - began < 1
    assert [place.seconds for place in reply.places] == pytest.approx([0.2, 0.2], abs=0.05)


def test_a_very_slow_drive_is_left_after_the_first_places_with_a_rate() -> None:
    """At 2 MB/s the queue alone takes 0.26 s to drain at each place; three would take
    three times the 0.3 s that were asked for."""
    places = [[0, 1 << 30], [1 << 40, 1 << 30], [1 << 41, 1 << 30]]
    _, reply = run(asked(extents=places, queue_depth=8, seconds=0.3), Drive(bytes_per_second=2e6))
    assert [place.start_bytes for place in reply.places] == [0, 1 << 40]
    assert reply.places[0].bytes_per_second == pytest.approx(2e6, rel=0.2)


def test_all_zero_transfers_are_counted_as_such() -> None:
    """Buffers start zeroed; a reader that fills one in two leaves the others zero."""

    def read(fd: int, into: list[memoryview], offset: int) -> int:
        data = b"\0" if offset // (64 * KIB) % 2 else b"\1"
        into[0][:] = data * len(into[0])
        return len(into[0])

    _, reply = run(asked(extents=[[0, 4 * MIB]]), read)
    assert reply.zero_bytes == 2 * MIB


def test_a_transfer_with_one_written_block_is_not_taken_for_zero() -> None:
    """In 64 KiB a filesystem block of 4 KiB, wherever it lies, is met by a sampled piece."""

    def read(fd: int, into: list[memoryview], offset: int) -> int:
        into[0][:] = bytes(len(into[0]))
        at = offset // (64 * KIB) % 16 * 4096
        into[0][at : at + 4096] = b"\1" * 4096
        return len(into[0])

    _, reply = run(asked(extents=[[0, 4 * MIB]]), read)
    assert reply.zero_bytes == 0


def test_a_read_error_stops_the_burst_and_what_was_measured_is_kept() -> None:
    def read(fd: int, into: list[memoryview], offset: int) -> int:
        if offset == 4 * MIB:
            raise OSError(errno.EIO, "I/O error")
        time.sleep(0.0005)
        return len(into[0])

    _, reply = run(asked(extents=[[0, 8 * MIB], [16 * MIB, MIB]]), read)
    assert (reply.step, reply.number, reply.offset) == ("read", errno.EIO, 4 * MIB)
    assert 3 * MIB < reply.bytes_read < 5 * MIB
    assert reply.places[0].bytes_per_second > 0
    assert len(reply.places) == 1


def test_a_device_that_ends_early_is_said_to_have_shrunk() -> None:
    def read(fd: int, into: list[memoryview], offset: int) -> int:
        return len(into[0]) if offset < MIB else 0

    _, reply = run(asked(queue_depth=1), read)
    assert (reply.step, reply.number, reply.offset) == ("read", 0, MIB)


@given(
    count=st.integers(min_value=1, max_value=3000),
    seed=st.integers(min_value=0, max_value=2**32 - 1),
)
def test_scattered_places_are_each_met_once(count: int, seed: int) -> None:
    offsets = list(scattered(512, count, 4096, seed))
    assert sorted(offsets) == [512 + index * 4096 for index in range(count)]


def test_scattered_places_follow_no_pattern() -> None:
    """A drive must not be able to read ahead: few neighbours follow each other, and the
    steps between places are nearly all different."""
    places = [offset // 4096 for offset in scattered(0, 4096, 4096, 1)]
    steps = [later - earlier for earlier, later in pairwise(places)]
    assert sum(abs(step) == 1 for step in steps) < 40
    assert len(set(steps)) > 2000


def test_the_seed_decides_the_order() -> None:
    first, again, other = (list(scattered(0, 500, 4096, seed)) for seed in (1, 1, 2))
    assert first == again != other


def test_an_unfinished_order_of_a_huge_drive_costs_no_memory() -> None:
    places = scattered(0, 10**12 // 4096, 4096, 3)
    assert len({next(places) for _ in range(1000)}) == 1000


def test_buffers_are_page_aligned_and_do_not_overlap() -> None:
    addresses = []
    for buffer in aligned_buffers(3, 5000):
        assert len(buffer) == 5000
        addresses.append(ctypes.addressof(ctypes.c_char.from_buffer(buffer)))
    assert all(address % 4096 == 0 for address in addresses)
    assert sorted(addresses)[1] - sorted(addresses)[0] >= 5000
