"""The lab does what its descriptions say, measured with a reader of its own.

Tolerances: a throttle lets 0.1 s worth of bytes and one request pass beyond its rate
(QEMU, docs/throttle.txt), 6 to 9 % of a two-second read; a busy host makes reads slower.
"""

from __future__ import annotations

import errno
import json
import signal
import sys
import time
from collections.abc import Callable

import pytest

from lab import KIB, MIB, ArraySpec, Contents, Drive, Guest, Machine, Transport, Uplink
from lab.host import HERE, REPOSITORY

pytestmark = pytest.mark.measures

RATE = 20_000_000
LEAST, MOST = 0.92, 1.12
FOUR = ("v0", "v1", "a0", "n0")

MACHINE = Machine(
    uplinks=(Uplink(name="wall", bytes_per_second=3 * RATE),),
    drives=(
        Drive(name="v0", transport=Transport.VIRTIO, bytes_per_second=RATE),
        Drive(name="v1", transport=Transport.VIRTIO, bytes_per_second=RATE, rotational=True),
        Drive(name="a0", transport=Transport.AHCI, bytes_per_second=RATE),
        Drive(name="n0", transport=Transport.NVME, bytes_per_second=RATE),
        *(
            Drive(name=f"u{index}", transport=transport, bytes_per_second=RATE, uplink="wall")
            for index, transport in enumerate((*Transport, Transport.VIRTIO))
        ),
        # With a0 and u1, more AHCI drives than one controller has ports.
        *(
            Drive(
                name=f"s{index}",
                transport=Transport.AHCI,
                bytes_per_second=RATE,
                contents=Contents.NULL,
            )
            for index in range(5)
        ),
        Drive(
            name="memory",
            transport=Transport.VIRTIO,
            bytes_per_second=RATE,
            size_bytes=32 * MIB,
        ),
    ),
    arrays=(ArraySpec(name="md0", level="raid1", members=("s0", "s1"), chunk_bytes=0),),
)

LEVELS = (
    # level, chunk, layout, size of the array in members' sizes
    ("raid0", 512 * KIB, None, 4),
    ("raid1", 0, None, 1),
    ("raid10", 512 * KIB, 258, 2),
    ("raid5", 512 * KIB, 2, 3),
    ("raid6", 512 * KIB, 2, 2),
    ("linear", 0, None, 4),
)

BootLab = Callable[[Machine], Guest]


@pytest.fixture
def guest(boot_lab: BootLab) -> Guest:
    """The one machine most tests here share."""
    return boot_lab(MACHINE)


def reader(seconds: float, depth: int, *devices: str) -> list[str]:
    """The command that reads devices at the same time."""
    paths = [f"/dev/{device}" for device in devices]
    return [sys.executable, "-I", str(HERE / "direct_reader.py"), str(seconds), str(depth), *paths]


def rates(guest: Guest, seconds: float, depth: int, *devices: str) -> list[float]:
    """Bytes per second of devices that are read at the same time."""
    done = guest.run(reader(seconds, depth, *devices)).checked()
    return list(json.loads(done.stdout).values())


class TestCommands:
    def test_a_command_returns_its_status_and_both_streams(self, guest: Guest) -> None:
        done = guest.run("echo out; echo err >&2; exit 7")
        assert (done.status, done.stdout, done.stderr) == (7, "out\n", "err\n")

    def test_a_kernel_with_md_answers(self, guest: Guest) -> None:
        assert "[raid6] [raid5] [raid4]" in guest.read("/proc/mdstat")

    def test_the_virtual_environment_works_in_the_guest(self, guest: Guest) -> None:
        program = "import click, prometheus_client, psutil, pydantic, pyudev, rich, arraygauge"
        guest.run([sys.executable, "-c", program]).checked()

    def test_the_loopback_address_can_be_served(self, guest: Guest) -> None:
        program = "import socket; print(socket.create_server(('127.0.0.1', 9847)).getsockname())"
        assert "9847" in guest.run([sys.executable, "-c", program]).checked().stdout

    @pytest.mark.parametrize("arguments", [("--help",), ("/absent",)])
    def test_a_module_run_in_a_fork_does_what_python_m_does(
        self, guest: Guest, arguments: tuple[str, ...]
    ) -> None:
        whole = guest.run([sys.executable, "-m", "json.tool", *arguments])
        forked = guest.run_module("json.tool", *arguments)
        assert (forked.status, forked.stdout) == (whole.status, whole.stdout)
        assert forked.stderr.splitlines()[-1:] == whole.stderr.splitlines()[-1:]

    def test_commands_run_side_by_side_and_obey_signals(self, guest: Guest) -> None:
        polite = guest.start("trap 'echo bye; exit 3' TERM; echo up; while :; do sleep 0.1; done")
        sleeper = guest.start(["sleep", "60"])
        polite.wait_for_output("up")
        polite.signal(signal.SIGTERM)
        sleeper.signal(signal.SIGTERM)
        assert (polite.wait(10).status, polite.wait(10).stdout) == (3, "up\nbye\n")
        assert sleeper.wait(10).status == -signal.SIGTERM

    def test_a_command_that_takes_too_long_is_killed_with_its_children(self, guest: Guest) -> None:
        with pytest.raises(TimeoutError, match="begun"):
            guest.run("echo begun; sleep 4321; echo never", timeout_seconds=1)
        assert guest.run("pgrep -f '[s]leep 4321'").status == 1

    def test_a_command_that_does_not_exist_is_an_error(self, guest: Guest) -> None:
        with pytest.raises(FileNotFoundError):
            guest.run(["no-such-command"])

    def test_any_bytes_come_through_whole(self, guest: Guest) -> None:
        done = guest.run([sys.executable, "-c", "import os; os.write(1, bytes(range(256)) * 1000)"])
        assert done.stdout.encode(errors="surrogateescape") == bytes(range(256)) * 1000

    def test_files_are_written_in_memory_and_the_host_keeps_its_own(self, guest: Guest) -> None:
        for directory in ("/run/new", "/var/lib/arraygauge", "/etc", str(REPOSITORY)):
            path = f"{directory}/lab-was-here"
            guest.write(path, "yes\n")
            assert guest.read(path) == "yes\n"
        assert not (REPOSITORY / "lab-was-here").exists()

    def test_a_missing_file_is_an_error(self, guest: Guest) -> None:
        with pytest.raises(FileNotFoundError):
            guest.read("/run/absent")


class TestDrives:
    def test_one_drive_of_each_transport_is_as_fast_as_described(self, guest: Guest) -> None:
        devices = [guest.device(drive) for drive in ("v0", "a0", "n0")]
        assert [device[:2] for device in devices] == ["vd", "sd", "nv"]
        for rate in rates(guest, 2, 1, *devices):
            assert LEAST < rate / RATE < MOST

    def test_an_uplink_caps_the_sum(self, guest: Guest) -> None:
        shared = rates(guest, 2, 2, *(guest.device(f"u{index}") for index in range(4)))
        assert LEAST < sum(shared) / (3 * RATE) < MOST

    def test_an_uplink_is_changed_live(self, guest: Guest) -> None:
        guest.limit_uplink("wall", RATE)
        shared = rates(guest, 2, 1, guest.device("u0"), guest.device("u2"))
        assert LEAST < sum(shared) / RATE < MOST

    def test_a_drive_is_slowed_while_it_is_read(self, guest: Guest) -> None:
        device = guest.device("v0")
        running = guest.start(reader(3, 2, device))
        running.wait_for_output("reading")
        time.sleep(1.5)
        guest.limit("v0", RATE // 4)
        [during] = json.loads(running.wait().checked().stdout).values()
        [after] = rates(guest, 2, 1, device)
        assert 0.3 < during / RATE < 0.9
        assert LEAST < after / (RATE / 4) < 1.3

    def test_rates_are_restored_for_the_next_test(self, boot_lab: BootLab, guest: Guest) -> None:
        guest.limit("v0", RATE // 4)
        assert boot_lab(MACHINE) is guest
        assert rates(guest, 1, 1, guest.device("v0"))[0] > LEAST * RATE

    @pytest.mark.parametrize("drive", ["v0", "a0", "n0"])
    def test_a_hung_drive_answers_only_after_it_resumes(self, guest: Guest, drive: str) -> None:
        guest.hang(drive)
        running = guest.start(["dd", f"if=/dev/{guest.device(drive)}", "of=/dev/null", "count=1"])
        with pytest.raises(TimeoutError):
            list(running.follow(1))
        guest.resume(drive)
        assert running.wait(5).status == 0

    def test_rotational_is_as_described_whatever_the_transport(self, guest: Guest) -> None:
        for drive in MACHINE.drives:
            path = f"/sys/block/{guest.device(drive.name)}/queue/rotational"
            assert guest.read(path) == f"{int(drive.rotational)}\n"

    def test_a_drive_in_memory_has_contents_and_keeps_what_is_written(self, guest: Guest) -> None:
        device = f"/dev/{guest.device('memory')}"
        assert len(set(guest.run(["head", "-c", "4096", device]).stdout)) > 100
        guest.run(f"printf kept | dd of={device} bs=4096 seek=100 oflag=sync").checked()
        guest.run("echo 3 >/proc/sys/vm/drop_caches").checked()
        assert guest.run(f"dd if={device} bs=4096 skip=100 count=1").stdout.startswith("kept")


class TestArrays:
    @pytest.mark.parametrize(("level", "chunk", "layout", "width"), LEVELS)
    def test_each_level_can_be_created_and_stopped(
        self, guest: Guest, level: str, chunk: int, layout: int | None, width: int
    ) -> None:
        spec = ArraySpec(name="md9", level=level, members=FOUR, chunk_bytes=chunk, layout=layout)
        assert guest.create(spec) == "md9"
        assert guest.read("/sys/block/md9/md/level") == f"{level}\n"
        assert guest.read("/sys/block/md9/md/array_state") == "clean\n"
        assert int(guest.read("/sys/block/md9/size")) * 512 == width * 256 * MIB
        guest.stop("md9")
        assert "md9" not in guest.read("/proc/mdstat")

    def test_an_array_that_is_described_exists_from_the_start(self, guest: Guest) -> None:
        assert "md0 : active raid1" in guest.read("/proc/mdstat")

    def test_a_stripe_over_three_transports_is_as_fast_as_all_members(self, guest: Guest) -> None:
        guest.create(ArraySpec(name="md9", level="raid0", members=FOUR))
        [rate] = rates(guest, 2, 8, "md9")
        assert LEAST < rate / (4 * RATE) < MOST

    def test_an_array_in_use_is_not_stopped(self, guest: Guest) -> None:
        guest.create(ArraySpec(name="md9", level="raid0", members=FOUR))
        holder = guest.start("exec 3</dev/md9; echo open; sleep 60")
        holder.wait_for_output("open")
        with pytest.raises(OSError, match=str(errno.EBUSY)):
            guest.stop("md9")

    def test_a_failed_member_degrades_the_array(self, guest: Guest) -> None:
        guest.create(ArraySpec(name="md9", level="raid5", members=FOUR, layout=2))
        guest.fail("md9", "a0")
        assert "[4/3] [UU_U]" in guest.read("/proc/mdstat")
        assert guest.read("/sys/block/md9/md/degraded") == "1\n"

    def test_the_kernel_calls_a_stripe_clean_whose_drives_are_gone(self, guest: Guest) -> None:
        """The silence the agent exists to break; seen for each transport."""
        guest.create(ArraySpec(name="md9", level="raid0", members=FOUR))
        for drive in ("v0", "a0", "n0"):
            assert guest.run(f"ls /sys/class/block/{guest.device(drive)}").status == 0
            guest.unplug(drive)
            assert guest.run(f"ls /sys/class/block/{guest.device(drive)}").status != 0
            assert guest.read("/sys/block/md9/md/array_state") == "clean\n"
        assert not guest.restore()
