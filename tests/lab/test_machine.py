"""Descriptions are checked, machines come up or say why not, and none is left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lab import ArraySpec, Drive, Guest, LabError, Machine, Transport
from lab.conftest import demand_lab
from lab.host import HERE, why_unavailable

DRIVE = Drive(name="v0", transport=Transport.VIRTIO, bytes_per_second=1_000_000)
SMALLEST = Machine(drives=(DRIVE,), memory_bytes=512 * 1024 * 1024)


@pytest.mark.parametrize(
    ("description", "complaint"),
    [
        ({"drives": (DRIVE, DRIVE)}, "used twice"),
        ({"drives": (), "arrays": (ArraySpec(name="md0", level="raid0", members=("x",)),)}, "'x'"),
    ],
)
def test_a_description_that_contradicts_itself_is_refused(
    description: dict[str, tuple[object, ...]], complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        Machine(**description)  # type: ignore[arg-type]


def test_a_drive_on_an_unknown_uplink_is_refused() -> None:
    drive = Drive(name="v0", transport=Transport.NVME, bytes_per_second=1, uplink="absent")
    with pytest.raises(ValueError, match="absent"):
        Machine(drives=(drive,))


def test_a_name_too_long_for_a_serial_number_is_refused() -> None:
    drive = Drive(name="a" * 21, transport=Transport.NVME, bytes_per_second=1)
    with pytest.raises(ValueError, match="not a lab name"):
        Machine(drives=(drive,))


def test_what_is_missing_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("lab.host.KERNEL_TREE", tmp_path)
    assert "a kernel under .lab/kernel" in str(why_unavailable())


def test_without_the_lab_tests_are_skipped_with_the_reason() -> None:
    with pytest.raises(pytest.skip.Exception, match="no QEMU"):
        demand_lab("no QEMU", required=False)


def test_where_the_lab_is_demanded_its_absence_fails() -> None:
    with pytest.raises(pytest.fail.Exception, match="no QEMU"):
        demand_lab("no QEMU", required=True)


def test_a_guest_that_does_not_come_up_shows_its_console(
    boot_lab: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    with pytest.raises(LabError, match="'/no/such/python': No such file"):
        Guest(SMALLEST)


def test_a_killed_test_run_leaves_no_guest(boot_lab: object) -> None:
    """Killed early in the boot: later on the guest also ends by itself when nobody listens."""
    program = (
        "import time; from lab.emulator import Emulator; from lab.image import build\n"
        "from lab.test_machine import SMALLEST\n"
        "print(Emulator(SMALLEST, build(), {}).process_id, flush=True); time.sleep(600)"
    )
    command = [sys.executable, "-c", program]
    with subprocess.Popen(command, cwd=HERE.parent, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        emulator = int(run.stdout.readline())
        assert is_running(emulator)
        os.kill(run.pid, signal.SIGKILL)
    deadline = time.monotonic() + 1
    while is_running(emulator) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not is_running(emulator)


def is_running(process_id: int) -> bool:
    """False for a zombie too: whoever adopted the process may take its time."""
    try:
        stat = Path(f"/proc/{process_id}/stat").read_text()
    except FileNotFoundError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"
