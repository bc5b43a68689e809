"""What the lab brings along for tests: a foreground reader, filesystems, a trace of opens."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable

import pytest

from lab import MIB, ArraySpec, Guest, Machine
from lab.filesystems import Kind, add_files, checksums, fill_up, free_bytes, mounted
from lab.foreground import Foreground, Work, read
from lab.foreground_reader import Completion, quantiles, summary
from lab.own_machine import MACHINE
from lab.tracing import Open, parse_open, start_traced, traced_opens

pytestmark = pytest.mark.measures


@pytest.fixture
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    """The machine that all of these share."""
    return boot_lab(MACHINE)


class TestForeground:
    def test_quantiles_are_values_that_occurred(self) -> None:
        values = [float(number) for number in range(1000, 0, -1)]
        assert quantiles(values) == {"p50": 500, "p99": 990, "p999": 999, "greatest": 1000}

    def test_the_rate_counts_from_the_first_completion_to_the_last(self) -> None:
        done = [Completion(t, t, t + 0.015, 1000) for t in (10.0, 11.0, 12.0)]
        told = summary(done)
        assert told["bytes_per_second"] == pytest.approx(1000)
        assert told["bytes_per_10_ms"][:3] == [0, 1000, 0]  # type: ignore[index]

    def test_a_paced_reader_keeps_its_pace(self, guest: Guest) -> None:
        work = Work(path=f"/dev/{guest.device('f0')}", seconds=2, bytes_per_second=50e6, depth=2)
        report = read(guest, work)
        assert report.failure is None
        assert report.bytes_per_second == pytest.approx(50e6, rel=0.02)
        assert report.latency_seconds.p50 <= report.lag_seconds.p50

    def test_it_begins_when_it_is_told_to(self, guest: Guest) -> None:
        reader = Foreground(guest, Work(path=f"/dev/{guest.device('f0')}", seconds=0.5))
        time.sleep(0.5)
        uptime = guest.read("/proc/uptime").split()[0]
        reader.begin()
        report = reader.report()
        assert 0 <= report.started - float(uptime) < 0.5
        assert report.started < report.first < report.last
        assert sum(report.bytes_per_10_ms) == report.bytes == report.requests * MIB

    def test_a_bad_range_ends_it_with_the_reason(self, guest: Guest) -> None:
        device = guest.device("virtio-bad")
        guest.limit("virtio-bad", 200_000_000)
        report = read(guest, Work(path=f"/dev/{device}", seconds=10))
        assert "Input/output error" in str(report.failure)
        assert report.requests == 64


class TestFilesystems:
    @pytest.mark.parametrize("kind", list(Kind))
    def test_an_array_holds_files_and_a_full_filesystem_keeps_them(
        self, guest: Guest, kind: Kind
    ) -> None:
        guest.create(ArraySpec(name="md9", level="raid0", members=("f0", "f2")))
        with mounted(guest, "md9", kind) as directory:
            add_files(guest, f"{directory}/films", count=8)
            sums = checksums(guest, f"{directory}/films")
            assert len(set(sums.values())) == 8
            fill_up(guest, directory)
            assert free_bytes(guest, directory) < MIB
            refused = guest.run(f"head -c 2M /dev/urandom >{directory}/more")
            assert "No space left" in refused.stderr
            assert checksums(guest, f"{directory}/films") == sums
            guest.run(f"printf x | dd of={directory}/films/3 conv=notrunc").checked()
            assert checksums(guest, f"{directory}/films") != sums
        assert "md9" not in guest.read("/proc/mounts")


class TestTracing:
    @pytest.mark.parametrize(
        ("line", "expected"),
        [
            (
                '7:openat(AT_FDCWD</work>, "/dev/vda", O_RDONLY|O_DIRECT) = 5</dev/vda>',
                Open(
                    thread_id=7,
                    path="/dev/vda",
                    flags=frozenset({"O_RDONLY", "O_DIRECT"}),
                    error=None,
                ),
            ),
            (
                '7:openat(AT_FDCWD</dev>, "vdz", O_RDWR) = -1 ENOENT (No such file or directory)',
                Open(thread_id=7, path="/dev/vdz", flags=frozenset({"O_RDWR"}), error="ENOENT"),
            ),
            (
                '7:open("/dev/disk/by-id/x", O_RDONLY) = 3</dev/sda>',
                Open(thread_id=7, path="/dev/sda", flags=frozenset({"O_RDONLY"}), error=None),
            ),
            (
                '7:openat(4</dev>, "vda", O_WRONLY <unfinished ...>',
                Open(thread_id=7, path="/dev/vda", flags=frozenset({"O_WRONLY"}), error=None),
            ),
            ("7:io_uring_setup(8, {flags=0}) = 5<anon_inode:[io_uring]>", None),
        ],
    )
    def test_lines_of_the_tracer(self, line: str, expected: Open | None) -> None:
        assert parse_open(line) == expected

    def test_children_threads_links_and_refusals_are_seen(self, guest: Guest) -> None:
        first, second, third = (f"/dev/{guest.device(name)}" for name in ("f0", "f1", "f2"))
        program = (
            "import os, threading\n"
            f"os.symlink({second!r}, '/run/link')\n"
            f"os.open({first!r}, os.O_RDONLY | os.O_DIRECT)\n"
            "thread = threading.Thread(target=os.open, args=('/run/link', os.O_RDONLY))\n"
            "thread.start(); thread.join()\n"
            f"os.chdir('/dev'); os.system('exec 3<>{third[5:]}; exec 4<absent')"
        )
        opens = traced_opens(guest, sys.executable, "-I", "-S", "-c", program)
        found = {made.path: made for made in opens}
        assert "O_DIRECT" in found[first].flags
        assert not found[first].for_writing
        assert found[second].thread_id != found[first].thread_id
        assert found[third].for_writing
        assert found["/dev/absent"].error == "ENOENT"

    def test_status_output_and_signals_are_the_commands_own(self, guest: Guest) -> None:
        script = "trap 'echo bye; exit 3' TERM; echo up; while :; do sleep 0.1; done"
        traced = start_traced(guest, ["sh", "-c", script])
        traced.running.wait_for_output("up")
        traced.running.signal(signal.SIGTERM)
        done = traced.wait(10)
        assert (done.status, done.stdout) == (3, "up\nbye\n")
        assert traced.rings() == 0
