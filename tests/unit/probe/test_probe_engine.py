"""The reading loop: what it reads, in which order, how deep, and what it stops for.

The reader is replaced by one whose speed and faults are known; everything else is
the child's own code.
"""

from __future__ import annotations

import errno
import json
import os
import threading
import time
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.children.reading import (
    Burst,
    ProbeError,
    attend,
    check_temperature,
    report,
)
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
        "settle_seconds": 0.0,
        "place_seconds": 10.0,
        "longest_seconds": 20.0,
        "in_flight_seconds": None,
        "meeting": None,
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
    words = memoryview(bytearray(8 * (1 + 2 * request.queue_depth))).cast("Q")
    burst = Burst(request, read, words)
    burst.run(-1)
    assert sum(words[1::2]) == sum(words[2::2]) == burst.bytes_read, "all that was asked for came"
    return burst, parse_reply(json.dumps(report(burst, None, 1)).encode())


@pytest.mark.measures
def test_a_slow_drive_is_measured_within_four_per_cent_in_half_a_second() -> None:
    """20 MB/s, 1 MiB × 8: one transfer is a tenth of the time there is. What is left is
    the machine's own punctuality; see the window's tests for the exact figures."""
    request = asked(transfer_bytes=MIB, queue_depth=8, place_seconds=0.5, warm_up_seconds=0.1)
    _, reply = run(request, Drive(bytes_per_second=20e6))
    assert reply.places[0].bytes_per_second == pytest.approx(20e6, rel=0.04)


def test_the_queue_is_kept_as_deep_as_asked_and_no_deeper() -> None:
    drive = Drive(bytes_per_second=20e6)
    run(asked(queue_depth=6, extents=[[0, 4 * MIB]]), drive)
    assert drive.deepest == 6


@pytest.mark.parametrize(("mb_per_second", "left"), [(100, 2), (200, 3), (400, 6), (5000, 8)])
def test_no_more_stays_in_flight_than_is_answered_soon_and_the_rate_is_right(
    mb_per_second: int, left: int
) -> None:
    """15 ms hold so many of 1 MiB, and two are needed; those in excess leave when it is warm."""
    drive, depths = Drive(bytes_per_second=mb_per_second * 1e6), []

    def read(fd: int, into: list[memoryview], offset: int) -> int:
        size = drive(fd, into, offset)
        depths.append(drive.in_flight + 1)
        return size

    request = asked(
        transfer_bytes=MIB,
        queue_depth=8,
        warm_up_seconds=0.2,
        place_seconds=0.4,
        in_flight_seconds=0.015,
        extents=[[0, 1 << 40]],
    )
    _, reply = run(request, read)
    assert drive.deepest == 8
    late = depths[-len(depths) // 3 :]
    assert sorted(late)[len(late) // 2] == pytest.approx(left, abs=1 if left > 3 else 0)
    if mb_per_second < 1000:  # beyond, the test's own drive is too slow
        assert reply.places[0].bytes_per_second == pytest.approx(mb_per_second * 1e6, rel=0.04)


def test_a_sequential_burst_reads_each_place_of_each_extent_once_in_order() -> None:
    drive = Drive()
    run(asked(queue_depth=1, extents=[[MIB, MIB], [8 * MIB, MIB]]), drive)
    wanted = [*range(MIB, 2 * MIB, 64 * KIB), *range(8 * MIB, 9 * MIB, 64 * KIB)]
    assert drive.offsets == wanted


def test_streams_divide_the_extent_and_the_queue_among_them() -> None:
    """Two streams of depth two begin at the two halves, and between them read it all: the
    one that ends first leaves the other its turns."""
    drive = Drive(bytes_per_second=20e6)
    run(asked(queue_depth=4, streams=2, extents=[[0, 2 * MIB]]), drive)
    assert {0, MIB} <= set(drive.offsets[:4])
    assert sorted(drive.offsets) == list(range(0, 2 * MIB, 64 * KIB))


def test_random_reads_stay_in_the_extent_and_repeat_no_place() -> None:
    drive = Drive()
    run(asked(random=True, transfer_bytes=4096, extents=[[MIB, MIB]]), drive)
    assert sorted(drive.offsets) == list(range(MIB, 2 * MIB, 4096))


def test_no_more_is_read_than_the_byte_budget_and_each_extent_has_its_share() -> None:
    drive = Drive()
    burst, reply = run(asked(extents=[[0, MIB], [8 * MIB, MIB]], max_bytes=MIB), drive)
    assert burst.bytes_read == MIB
    assert sum(offset < MIB for offset in drive.offsets) == 8
    assert reply.budget_spent


def test_an_extent_read_to_its_end_has_not_spent_the_budget() -> None:
    _, reply = run(asked(extents=[[0, MIB]]), Drive())
    assert not reply.budget_spent
    assert reply.bytes_read == MIB


def test_a_burst_ended_by_its_time_has_not_spent_the_budget() -> None:
    request = asked(extents=[[0, 1 << 40]], place_seconds=0.1, max_bytes=1 << 30)
    _, reply = run(request, Drive(bytes_per_second=50e6))
    assert not reply.budget_spent


def test_each_extent_is_read_for_its_time() -> None:
    request = asked(extents=[[0, 1 << 40], [1 << 41, 1 << 40]], place_seconds=0.2)
    began = time.perf_counter()
    _, reply = run(request, Drive(bytes_per_second=50e6))
    assert 0.4 <= time.perf_counter() - began < 1
    assert [place.seconds for place in reply.places] == pytest.approx([0.2, 0.2], abs=0.05)


def test_no_extent_begins_after_the_longest_time() -> None:
    extents = [[index << 40, 1 << 40] for index in range(6)]
    request = asked(extents=extents, place_seconds=0.1, longest_seconds=0.25)
    _, reply = run(request, Drive(bytes_per_second=50e6))
    assert len(reply.places) == 3


def test_bursts_that_are_to_read_together_wait_for_each_other() -> None:
    """Each has a word in shared memory; the last to set its own lets all begin."""
    begins: list[float] = []

    def read(fd: int, into: list[memoryview], offset: int) -> int:
        begins.append(time.perf_counter())
        return len(into[0])

    descriptor = os.memfd_create("meeting")
    os.ftruncate(descriptor, 16)
    meeting = {"descriptor": descriptor, "place": 0, "count": 2}
    others = threading.Timer(0.1, attend, ({**meeting, "place": 1},))
    others.start()
    began = time.perf_counter()
    run(asked(meeting=meeting, extents=[[0, MIB]]), read)
    others.join()
    os.close(descriptor)
    assert 0.1 <= min(begins) - began < 0.5


def test_told_to_stop_each_thread_finishes_what_is_in_flight_and_no_more() -> None:
    """The parent sets the first word; what came is reported."""
    request = asked(extents=[[0, 1 << 40], [1 << 41, 1 << 40]], transfer_bytes=MIB)
    words = memoryview(bytearray(8 * 9)).cast("Q")
    drive = Drive(bytes_per_second=200e6)
    burst = Burst(request, drive, words)
    timer = threading.Timer(0.2, words.__setitem__, (0, 1))
    timer.start()
    began = time.perf_counter()
    burst.run(-1)
    timer.join()
    assert time.perf_counter() - began < 0.2 + 4 * MIB / 200e6 + 0.05
    assert burst.bytes_read == len(drive.offsets) * MIB
    assert [place.start for place in burst.places if place.gate] == [0]
    reply = parse_reply(json.dumps(report(burst, None, 1)).encode())
    assert (reply.step, reply.budget_spent) == ("done", False)
    assert reply.places[0].bytes_per_second == pytest.approx(200e6, rel=0.1)


@given(
    depth=st.integers(1, 12),
    streams=st.integers(1, 4),
    extents=st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=1, max_size=5),
    transfers=st.integers(0, 60),
    random=st.booleans(),
)
def test_whatever_is_asked_no_more_bytes_are_read_than_allowed(
    *, depth: int, streams: int, extents: list[tuple[int, int]], transfers: int, random: bool
) -> None:
    size = 4 * KIB
    drive = Drive()
    request = asked(
        queue_depth=max(depth, streams),
        streams=streams,
        random=random,
        transfer_bytes=size,
        extents=[[at * size, length * size + 100] for at, length in extents],
        max_bytes=transfers * size + size // 2,
    )
    burst, reply = run(request, drive)
    assert burst.bytes_read == len(drive.offsets) * size <= transfers * size
    assert reply.bytes_read == burst.bytes_read
    assert all(
        any(at * size <= offset <= (at + length - 1) * size for at, length in extents)
        for offset in drive.offsets
    )


def test_a_very_slow_drive_is_left_after_the_first_places_with_a_rate() -> None:
    """At 2 MB/s eight transfers take 0.26 s and the queue as long again to drain: after two
    places 0.6 s are over."""
    places = [[0, 1 << 30], [1 << 40, 1 << 30], [1 << 41, 1 << 30]]
    request = asked(extents=places, queue_depth=8, place_seconds=0.1, longest_seconds=0.6)
    _, reply = run(request, Drive(bytes_per_second=2e6))
    assert [place.start_bytes for place in reply.places] == [0, 1 << 40]
    assert reply.places[0].bytes_per_second == pytest.approx(2e6, rel=0.2)


def test_all_zero_transfers_are_counted_as_such() -> None:
    """Buffers start zeroed; a reader that fills one in two leaves the others zero."""

    def read(fd: int, into: list[memoryview], offset: int) -> int:
        data = b"\0" if offset // (64 * KIB) % 2 else b"\1"
        into[0][:] = data * len(into[0])
        return len(into[0])

    _, reply = run(asked(extents=[[0, 4 * MIB], [8 * MIB, 4 * MIB]]), read)
    assert [place.zero_bytes for place in reply.places] == [2 * MIB, 2 * MIB]
    assert all(place.empty for place in reply.places)


def test_a_transfer_with_one_written_block_is_not_taken_for_zero() -> None:
    """In 64 KiB a filesystem block of 4 KiB, wherever it lies, is met by a sampled piece."""

    def read(fd: int, into: list[memoryview], offset: int) -> int:
        into[0][:] = bytes(len(into[0]))
        at = offset // (64 * KIB) % 16 * 4096
        into[0][at : at + 4096] = b"\1" * 4096
        return len(into[0])

    _, reply = run(asked(extents=[[0, 4 * MIB]]), read)
    assert reply.places[0].zero_bytes == 0


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


def test_a_drive_too_hot_is_not_read() -> None:
    """Documentation/hwmon/sysfs-interface.rst: temp1_input is in millidegrees."""
    with pytest.raises(ProbeError) as caught:
        check_temperature("70001", 70.0)
    assert (caught.value.step, caught.value.found) == ("hot", "70")


@pytest.mark.parametrize(
    ("text", "hottest"),
    [("70000", 70.0), ("-5000", 70.0), (None, 70.0), ("", 70.0), ("n/a", 70.0), ("99000", None)],
)
def test_a_drive_that_is_cool_or_has_no_sensor_is_read(
    text: str | None, hottest: float | None
) -> None:
    check_temperature(text, hottest)
