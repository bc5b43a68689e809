"""Whole probes of real block devices and files, by the real child process."""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest

from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Outcome
from arraygauge.theory.values import Access
from unit.probe.loop_device import LoopDevice, attached, random_file, require_loop_devices
from unit.probe.probe_requests import loop_request, reads, request

KIB, MIB = 1 << 10, 1 << 20
ENDLESS = ((0, 1 << 40),)


def test_a_block_device_is_read_and_measured(prober: Prober, loop: LoopDevice) -> None:
    measured = prober.run(loop_request(loop))
    assert (measured.outcome, measured.detail) == (Outcome.COMPLETED, None)
    assert measured.bytes_read == 64 * MIB
    (place,) = measured.places
    assert place.zero_bytes == 0
    assert place.bytes_per_second > 1e6
    assert measured.latency is not None
    assert 0 < measured.latency.median <= measured.latency.p90 <= measured.latency.p99
    assert measured.latency.p99 <= measured.latency.maximum < 5


def test_several_places_are_each_measured(prober: Prober, loop: LoopDevice) -> None:
    extents = ((4 * MIB, 16 * MIB), (40 * MIB, 16 * MIB))
    measured = prober.run(loop_request(loop, workload=reads(64 * KIB), extents=extents))
    assert [place.start_bytes for place in measured.places] == [4 * MIB, 40 * MIB]
    assert measured.bytes_read == 32 * MIB


def test_small_random_reads_are_measured(prober: Prober, loop: LoopDevice) -> None:
    workload = reads(4 * KIB, access=Access.RANDOM)
    measured = prober.run(loop_request(loop, workload=workload, place_seconds=0.2))
    assert measured.outcome is Outcome.COMPLETED
    assert len(measured.places) == 1


def test_the_byte_budget_ends_the_burst(prober: Prober, loop: LoopDevice) -> None:
    measured = prober.run(loop_request(loop, max_bytes=20 * MIB))
    assert measured.outcome is Outcome.BUDGET_SPENT
    assert measured.bytes_read == 20 * MIB


def test_unwritten_blocks_are_counted_as_zero(prober: Prober, tmp_path: Path) -> None:
    """Half random data, half hole, as on a device that was half trimmed."""
    require_loop_devices()
    backing = random_file(tmp_path / "half", 32)
    os.truncate(backing, 64 * MIB)
    with attached(backing) as device:
        measured = prober.run(loop_request(device))
    assert measured.places[0].zero_bytes == 32 * MIB
    assert measured.bytes_read == 64 * MIB


def test_a_file_is_read_directly(prober: Prober, random_backing: Path) -> None:
    measured = prober.run(request(random_backing))
    assert measured.outcome is Outcome.COMPLETED
    assert measured.bytes_read == 64 * MIB


def test_the_device_is_held_open_once_directly_and_only_for_reading(
    prober: Prober, endless: LoopDevice
) -> None:
    """In the kernel's own list of the child's descriptors, while it reads."""
    with reading(prober, endless) as child:
        (flags,) = _flags_of(child, endless.node)
    assert flags & os.O_ACCMODE == os.O_RDONLY
    assert flags & os.O_DIRECT


def test_all_reading_threads_are_of_the_idle_class(prober: Prober, endless: LoopDevice) -> None:
    """ioprio_set(2) acts on one thread; those started later must have inherited it."""
    with reading(prober, endless) as child:
        classes = [psutil.Process(thread.id).ionice().ioclass for thread in child.threads()]
    assert classes == [psutil.IOPRIO_CLASS_IDLE] * 9, "the main thread and eight that read"


@contextmanager
def reading(prober: Prober, device: LoopDevice) -> Iterator[psutil.Process]:
    """The child in the middle of a burst."""
    burst = loop_request(device, extents=ENDLESS, place_seconds=5)
    thread = threading.Thread(target=prober.run, args=(burst,))
    thread.start()
    try:
        yield _child_that_reads(device.node)
    finally:
        prober.stop.set()
        thread.join()


def _child_that_reads(node: str) -> psutil.Process:
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        for child in psutil.Process().children():
            if child.num_threads() == 9 and _flags_of(child, node):
                return child
        time.sleep(0.02)
    raise AssertionError("the burst did not begin")


def _flags_of(child: psutil.Process, node: str) -> list[int]:
    """open(2) flags of each descriptor on the node: proc(5), fdinfo."""
    proc = Path(f"/proc/{child.pid}")
    links = [link for link in (proc / "fd").iterdir() if os.readlink(link) == node]
    infos = [(proc / "fdinfo" / link.name).read_text().split() for link in links]
    return [int(info[info.index("flags:") + 1], 8) for info in infos]


def test_told_to_stop_in_mid_probe_it_ends_within_half_a_second(
    prober: Prober, stop: StopToken, endless: LoopDevice
) -> None:
    timer = threading.Timer(0.3, stop.set)
    timer.start()
    began = time.monotonic()
    measured = prober.run(loop_request(endless, extents=ENDLESS))
    assert time.monotonic() - began < 0.3 + 0.5
    assert measured.outcome is Outcome.INTERRUPTED
    assert measured.places == ()
    assert measured.bytes_read > 0, "what a killed child had read is still accounted for"
    assert psutil.Process().children() == []


def test_told_to_stop_before_it_begins_it_reads_nothing(
    prober: Prober, stop: StopToken, loop: LoopDevice
) -> None:
    stop.set()
    measured = prober.run(loop_request(loop))
    assert measured.outcome is Outcome.INTERRUPTED
    assert measured.bytes_read == 0


def test_a_device_that_loses_its_medium_in_mid_probe_is_a_read_error(
    prober: Prober, tmp_path: Path
) -> None:
    """The file behind a loop device is cut short while it is read: the kernel says EIO."""
    require_loop_devices()
    backing = tmp_path / "cut"
    backing.touch()
    os.truncate(backing, 1 << 40)
    with attached(backing) as device:
        timer = threading.Timer(0.4, os.truncate, (backing, 0))
        timer.start()
        measured = prober.run(loop_request(device, extents=ENDLESS))
        timer.join()
    assert measured.outcome is Outcome.READ_ERROR
    assert measured.detail is not None
    assert device.node in measured.detail
    assert "EIO" in measured.detail
    assert len(measured.places) == 1, "what was measured before is kept"


def test_a_file_cut_short_in_mid_probe_is_a_read_error(prober: Prober, tmp_path: Path) -> None:
    file = tmp_path / "cut"
    file.touch()
    os.truncate(file, 1 << 40)
    timer = threading.Timer(0.4, os.truncate, (file, 0))
    timer.start()
    measured = prober.run(request(file, extents=ENDLESS))
    timer.join()
    assert measured.outcome is Outcome.READ_ERROR
    assert measured.detail is not None
    assert "shrank" in measured.detail


def test_another_device_under_the_same_name_is_refused(prober: Prober, loop: LoopDevice) -> None:
    major, minor = loop.number
    measured = prober.run(request(loop.node, number=(major, minor + 1)))
    assert measured.outcome is Outcome.REFUSED
    assert measured.detail is not None
    assert f"block device {major}:{minor}, not the" in measured.detail


def test_a_device_shorter_than_planned_is_refused(prober: Prober, loop: LoopDevice) -> None:
    measured = prober.run(loop_request(loop, extents=((0, 65 * MIB),)))
    assert measured.outcome is Outcome.REFUSED
    assert measured.detail is not None
    assert f"only {64 * MIB} bytes long" in measured.detail


def test_transfers_below_the_logical_block_are_refused(prober: Prober, tmp_path: Path) -> None:
    """A device with 4096-byte blocks takes no reads of 512 bytes (EINVAL)."""
    require_loop_devices()
    backing = random_file(tmp_path / "advanced", 8)
    with attached(backing, block_bytes=4096) as device:
        burst = loop_request(device, workload=reads(512), extents=((0, 8 * MIB),))
        measured = prober.run(burst)
    assert measured.outcome is Outcome.REFUSED
    assert measured.detail is not None
    assert "multiple of its logical block" in measured.detail


def test_a_device_with_large_blocks_is_read_in_multiples_of_them(
    prober: Prober, tmp_path: Path
) -> None:
    require_loop_devices()
    backing = random_file(tmp_path / "advanced", 8)
    with attached(backing, block_bytes=4096) as device:
        burst = loop_request(device, workload=reads(4096), extents=((0, 8 * MIB),))
        assert prober.run(burst).outcome is Outcome.COMPLETED


def test_a_missing_node_has_vanished(prober: Prober, tmp_path: Path) -> None:
    measured = prober.run(request(tmp_path / "sdz", number=(8, 400)))
    assert measured.outcome is Outcome.VANISHED


def test_a_symbolic_link_is_not_followed(prober: Prober, tmp_path: Path, loop: LoopDevice) -> None:
    link = tmp_path / "by-id"
    link.symlink_to(loop.node)
    measured = prober.run(request(link, number=loop.number))
    assert measured.outcome is Outcome.REFUSED
    assert measured.detail is not None
    assert "symbolic link" in measured.detail


def test_a_pipe_in_place_of_a_device_is_refused_without_opening_it(
    prober: Prober, tmp_path: Path
) -> None:
    """Opening it would wait for a writer for ever."""
    os.mkfifo(tmp_path / "sdz")
    measured = prober.run(request(tmp_path / "sdz", number=(8, 400)))
    assert measured.outcome is Outcome.REFUSED
    assert measured.seconds < 5


def test_a_filesystem_without_direct_reads_is_refused_with_the_reason(prober: Prober) -> None:
    """open(2): EINVAL for O_DIRECT where the filesystem has none; proc never had, and memory
    filesystems have it only from Linux 6.6 on."""
    measured = prober.run(request("/proc/self/maps", extents=((0, MIB),)))
    assert measured.outcome is Outcome.REFUSED
    assert measured.detail is not None
    assert "no direct reads" in measured.detail


def test_a_system_that_refuses_raw_reads_even_to_root_is_named_as_the_reason(
    prober: Prober,
) -> None:
    """Some sandboxes answer EPERM to root: a test wherever one is."""
    node, number = _device_refused_to_root()
    measured = prober.run(request(node, number=number, extents=((0, MIB),)))
    assert measured.outcome is Outcome.REFUSED
    assert measured.detail is not None
    assert "the system refuses raw reads" in measured.detail


def _device_refused_to_root() -> tuple[str, tuple[int, int]]:
    for node in sorted(Path("/dev").glob("[nsv]*")):
        if node.is_block_device():
            try:
                os.close(os.open(node, os.O_RDONLY))
            except OSError as error:
                if error.errno == errno.EPERM:
                    number = node.stat().st_rdev
                    return str(node), (os.major(number), os.minor(number))
    pytest.skip("no block device here refuses root (EPERM)")


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"workload": reads(transfer_bytes=1000)}, "whole sectors"),
        ({"workload": reads(queue_depth=0)}, "in flight"),
        ({"workload": reads(queue_depth=2, streams=3)}, "each stream"),
        ({"extents": ()}, "somewhere to read"),
        ({"place_seconds": 0.0}, "time to count"),
    ],
)
def test_a_request_without_sense_is_a_bug_and_raises(
    prober: Prober, changes: dict[str, object], complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        prober.run(request("/dev/null", **changes))  # type: ignore[arg-type]
