"""The service under a real systemd as PID 1, on a real md kernel: started, killed, hung,
reloaded, locked in, told of a failure and rebooted.

One machine for all, booted once. What is held are the unit's own limits.
"""

from __future__ import annotations

import json
import os
import re
import time
from collections.abc import Iterator
from typing import Any

import pytest

from arraygauge.tell.journal import MESSAGE_ID
from lab.conftest import demand_lab
from lab.host import why_unavailable
from lab.machine import MIB, ArraySpec, Drive, Machine, Transport
from lab.systemd_guest import CONFIG, UNIT, Entry, SystemdGuest
from lab.systemd_image import UNIT as UNIT_FILE
from lab.systemd_image import why_no_disk

pytestmark = pytest.mark.lab

MACHINE = Machine(
    drives=tuple(
        Drive(name=name, transport=transport, bytes_per_second=20_000_000, size_bytes=16 * MIB)
        for name, transport in (
            ("alder", Transport.VIRTIO),
            ("birch", Transport.NVME),
            ("cedar", Transport.AHCI),
        )
    ),
    arrays=(
        ArraySpec(name="md0", level="raid1", members=("alder", "birch", "cedar"), chunk_bytes=0),
    ),
)
WATCHING_ONLY = '[budget]\nquiet_hours = ["00:00-12:00", "12:00-24:00"]\n'
"""No drive is read on the schedule: these tests are about the service."""
START_SECONDS = 30
"""The unit's TimeoutStartSec."""
RESTART_SECONDS = 5 + START_SECONDS
"""The unit's RestartSec, and a start."""
WATCHDOG_SECONDS = 6
TOLD_SECONDS = 5
LOOKED_SECONDS = 6
"""After a start, until the agent has looked twice: what is there at first is no news."""
MOST_EXPOSED = 1.3


@pytest.fixture(scope="module")
def machine() -> Iterator[SystemdGuest]:
    """Booted, the service not started."""
    missing = why_unavailable() or why_no_disk()
    demand_lab(missing, required=os.environ.get("ARRAYGAUGE_LAB_REQUIRED") == "1")
    began = time.monotonic()
    with SystemdGuest(MACHINE) as guest:
        print(f"disk and boot took {time.monotonic() - began:.1f} s")
        yield guest


@pytest.fixture
def guest(machine: SystemdGuest) -> SystemdGuest:
    """The service runs, as if started for the first time, and systemd holds nothing against it."""
    restart(machine)
    return machine


def restart(guest: SystemdGuest, config: str = "", drop_in: str | None = None) -> None:
    guest.systemctl("stop", UNIT)
    guest.write(CONFIG, config + WATCHING_ONLY)
    guest.drop_in(drop_in)
    guest.run(["systemctl", "reset-failed", UNIT])
    started = guest.run(["systemctl", "start", UNIT], 2 * START_SECONDS)
    assert started.status == 0, guest.last_words()


def main_process(guest: SystemdGuest) -> int:
    return int(guest.shown("MainPID")["MainPID"])


def started_again(guest: SystemdGuest, ended: int) -> bool:
    now = guest.shown("ActiveState", "NRestarts", "MainPID")
    return (
        now["ActiveState"] == "active"
        and now["NRestarts"] == "1"
        and now["MainPID"] not in ("0", str(ended))
    )


def served_interval(guest: SystemdGuest) -> float:
    found = re.search(r"^arraygauge_pass_interval_seconds (\S+)$", guest.fetch("/metrics"), re.M)
    assert found
    return float(found[1])


def incidents(guest: SystemdGuest) -> list[dict[str, Any]]:
    """All that the history has, as served."""
    document: dict[str, Any] = json.loads(guest.fetch("/incidents.json"))
    return list(document["incidents"])


def test_it_starts_within_its_time_and_says_how_it_fares(guest: SystemdGuest) -> None:
    """By systemd's own clock, from the order to start to READY=1."""
    shown = guest.shown(
        "ActiveState", "InactiveExitTimestampMonotonic", "ActiveEnterTimestampMonotonic"
    )
    assert shown["ActiveState"] == "active"
    entered = int(shown["ActiveEnterTimestampMonotonic"])
    took = (entered - int(shown["InactiveExitTimestampMonotonic"])) / 1e6
    print(f"active {took:.2f} s after systemctl start")
    assert 0 < took < START_SECONDS
    guest.wait_for(
        "the line of systemctl status counts arrays and drives",
        lambda: "1 array" in guest.shown("StatusText")["StatusText"],
        30,
    )


def test_the_page_answers_on_loopback(guest: SystemdGuest) -> None:
    assert "<title>" in guest.fetch("/")
    assert "arraygauge_heartbeat_timestamp_seconds" in guest.fetch("/metrics")


def test_systemd_finds_nothing_to_say_and_hardly_any_exposure(guest: SystemdGuest) -> None:
    """Of the unit as installed, and of the service as it runs."""
    assert guest.read(guest.shown("FragmentPath")["FragmentPath"]) == UNIT_FILE.read_text()
    said = guest.run(["systemd-analyze", "verify", "--man=no", UNIT]).checked()
    assert said.stdout + said.stderr == ""
    for offline in ("true", "false"):
        command = ["systemd-analyze", "security", f"--offline={offline}", "--no-pager", UNIT]
        told = guest.run(command).checked().stdout
        found = re.search(rf"Overall exposure level for {UNIT}: ([0-9.]+)", told)
        assert found, told
        print(f"exposure with offline={offline}: {found[1]}")
        assert float(found[1]) <= MOST_EXPOSED


def test_it_is_started_again_when_it_was_killed(guest: SystemdGuest) -> None:
    killed = main_process(guest)
    guest.run(f"kill -9 {killed}").checked()
    took = guest.wait_for("started again", lambda: started_again(guest, killed), RESTART_SECONDS)
    print(f"active again {took:.1f} s after it was killed")
    assert "<title>" in guest.fetch("/")


def test_it_is_killed_and_started_again_when_it_stands_still(machine: SystemdGuest) -> None:
    """Twice the watchdog's time passes first without harm: it was fed."""
    restart(machine, drop_in=f"[Service]\nWatchdogSec={WATCHDOG_SECONDS}\n")
    stopped = main_process(machine)
    time.sleep(2 * WATCHDOG_SECONDS)
    assert main_process(machine) == stopped
    machine.run(f"kill -STOP {stopped}").checked()
    took = machine.wait_for(
        "started again",
        lambda: started_again(machine, stopped),
        WATCHDOG_SECONDS + RESTART_SECONDS,
    )
    print(f"active again {took:.1f} s after it was stopped")
    said = [str(entry["MESSAGE"]) for entry in machine.journal("_PID=1", f"UNIT={UNIT}")]
    assert any("Watchdog timeout" in message for message in said), said


def test_a_mistake_in_the_configuration_keeps_the_one_before(machine: SystemdGuest) -> None:
    restart(machine, config="[run]\ninterval_seconds = 5000\n")
    process = main_process(machine)
    assert served_interval(machine) == 5000
    machine.write(CONFIG, "[run]\nintervall_seconds = 6000\n")
    machine.systemctl("reload", UNIT)
    complaint = f"{CONFIG}, line 2: run.intervall_seconds"
    machine.wait_for("the journal has it", lambda: complained(machine, complaint), 20)
    shown = machine.shown("ActiveState", "StatusText")
    assert shown["ActiveState"] == "active"
    assert complaint in shown["StatusText"]
    assert main_process(machine) == process
    assert served_interval(machine) == 5000
    machine.write(CONFIG, "[run]\ninterval_seconds = 6000\n" + WATCHING_ONLY)
    machine.systemctl("reload", UNIT)
    machine.wait_for("mended, it is in use", lambda: served_interval(machine) == 6000, 20)
    assert complaint not in machine.shown("StatusText")["StatusText"]
    assert main_process(machine) == process


def complained(guest: SystemdGuest, complaint: str) -> bool:
    entries = guest.journal("--unit", UNIT, f"_PID={main_process(guest)}")
    return any(complaint in str(entry["MESSAGE"]) for entry in entries)


OPENER = "/usr/local/lib/lab/open_devices.py"
OPENING = """
import errno, json, os, sys

def tried(path, flags):
    try:
        device = os.open(path, flags)
    except OSError as error:
        return errno.errorcode[error.errno]
    return "opened" if flags & os.O_ACCMODE else f"read {len(os.pread(device, 4096, 0))}"

ways = ("O_RDONLY", "O_WRONLY", "O_RDWR")
print(json.dumps({path: [tried(path, getattr(os, way)) for way in ways] for path in sys.argv[1:]}))
"""


def test_the_kernel_refuses_to_open_a_device_for_writing(machine: SystemdGuest) -> None:
    """By a program that systemd starts before the agent in the very same unit, as the same user,
    in the same control group and behind the same filters (systemd.service(5), ExecStartPre). The
    same user and group, outside of the unit, may open the devices for writing: so it is the
    unit's device policy that refuses, and with EPERM, where a file's mode would with EACCES."""
    devices = [
        f"/dev/{name}" for name in (*map(machine.device, ("alder", "birch", "cedar")), "md0")
    ]
    opening = f"/usr/bin/python3 -I -S {OPENER} {' '.join(devices)}"
    machine.write(OPENER, OPENING)
    restart(machine, drop_in=f"[Service]\nExecStartPre={opening}\n")
    machine.run("journalctl --sync").checked()
    said = [str(entry["MESSAGE"]) for entry in machine.journal("--unit", UNIT)]
    inside = json.loads(next(line for line in reversed(said) if line.startswith('{"/dev/')))
    assert inside == {device: ["read 4096", "EPERM", "EPERM"] for device in devices}
    others = f"setpriv --reuid=nobody --regid=nogroup --groups=disk {opening}"
    outside = json.loads(machine.run(others).checked().stdout)
    assert outside == {device: ["read 4096", "opened", "opened"] for device in devices}


def told_of_failure(guest: SystemdGuest, drive: str) -> tuple[Entry, float]:
    """Fails a member; the journal's entry about it, and how many seconds it came after."""
    device = guest.device(drive)
    failing = f"date +%s%6N && echo faulty > /sys/block/md0/md/dev-{device}/state"
    failed = int(guest.run(failing).checked().stdout)
    about = (f"MESSAGE_ID={MESSAGE_ID}", f"ARRAYGAUGE_CAUSE_NAME={device}")
    guest.wait_for("the journal has it", lambda: bool(guest.journal(*about)), 60)
    entry = guest.journal(*about)[0]
    return entry, (int(entry["__REALTIME_TIMESTAMP"]) - failed) / 1e6


def test_a_failed_member_is_in_the_journal_with_its_fields(guest: SystemdGuest) -> None:
    time.sleep(LOOKED_SECONDS)
    entry, seconds = told_of_failure(guest, "birch")
    print(f"in the journal {seconds:.2f} s after the kernel marked it")
    assert 0 < seconds < TOLD_SECONDS
    assert entry["_SYSTEMD_UNIT"] == UNIT
    assert entry["SYSLOG_IDENTIFIER"] == "arraygauge"
    assert entry["ARRAYGAUGE_CHANGE"] == "opened"
    assert entry["ARRAYGAUGE_ARRAYS"] == "md0"
    assert "md0" in entry["MESSAGE"]
    kept = {str(each["number"]): each["cause"]["name"] for each in incidents(guest)}
    assert kept[entry["ARRAYGAUGE_INCIDENT"]] == guest.device("birch")


def test_after_a_reboot_it_runs_again_and_knows_what_was(guest: SystemdGuest) -> None:
    """The last of all: the array, which has no metadata, is gone after it."""
    guest.systemctl("enable", UNIT)
    time.sleep(LOOKED_SECONDS)
    entry, _ = told_of_failure(guest, "cedar")
    number = int(entry["ARRAYGAUGE_INCIDENT"])
    [before] = [each for each in incidents(guest) if each["number"] == number]
    boot = guest.read("/proc/sys/kernel/random/boot_id")
    print(f"the machine was up again after {guest.reboot():.1f} s")
    assert guest.read("/proc/sys/kernel/random/boot_id") != boot
    shown = guest.shown("ActiveState", "ActiveEnterTimestampMonotonic", "NRestarts")
    assert (shown["ActiveState"], shown["NRestarts"]) == ("active", "0")
    print(f"active {int(shown['ActiveEnterTimestampMonotonic']) / 1e6:.1f} s after the boot began")
    [after] = [each for each in incidents(guest) if each["number"] == number]
    for key in ("cause", "opened_at_seconds", "arrays"):
        assert after[key] == before[key]
