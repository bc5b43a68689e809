"""`arraygauge check` and `run` when things break, on a real md kernel.

Each test takes a machine that the faults of the one before may have cost it: a guest
that lost a drive is booted anew.
"""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable

import pytest

from lab.agent import CONFIG, SHORT_BURSTS, check, wait_until_read
from lab.guest import Guest
from lab.machine import ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

DRIVE = 60_000_000
NAMES = ("alder", "birch", "cedar", "elder")
TRANSPORTS = (Transport.VIRTIO, Transport.AHCI, Transport.NVME, Transport.VIRTIO)
DRIVES = tuple(
    Drive(name=name, transport=transport, bytes_per_second=DRIVE)
    for name, transport in zip(NAMES, TRANSPORTS, strict=True)
)
PARITY = Machine(
    drives=DRIVES, arrays=(ArraySpec(name="md0", level="raid5", members=NAMES, layout=2),)
)
STRIPE = Machine(drives=DRIVES, arrays=(ArraySpec(name="md0", level="raid0", members=NAMES),))

Boot = Callable[[Machine], Guest]


def processes(guest: Guest) -> str:
    return guest.run("cat /proc/[0-9]*/cmdline | tr '\\0' ' '").stdout


def test_a_hung_drive_is_reported_in_bounded_time_and_hides_no_other(boot_lab: Boot) -> None:
    guest = boot_lab(STRIPE)
    name = guest.device("elder")
    guest.hang("elder")
    try:
        began = time.monotonic()
        status, document = check(guest)
        seconds = time.monotonic() - began
    finally:
        guest.resume("elder")
    devices = {device["name"]: device for device in document["devices"]}
    assert devices[name]["measured"]["outcome"] in ("timed out", "abandoned")
    assert name in devices[name]["explanation"]
    others = [device for device in devices.values() if device["name"] != name]
    assert [device["pace"] for device in others] == ["as expected"] * 3
    [verdict] = document["arrays"]
    assert verdict["measured"]["reason"] == "member unreadable"
    assert status == 5
    assert seconds < 90


def test_run_obeys_sigterm_within_two_seconds_in_mid_probe(boot_lab: Boot) -> None:
    guest = boot_lab(STRIPE)
    guest.write(
        CONFIG,
        "[probe]\nlongest_burst_seconds = 10\nmax_seconds = 60\ninterval_half_width = 0.005\n",
    )
    running = guest.start_module("arraygauge", "--config", CONFIG, "run")
    wait_until_read(guest, guest.device("alder"))
    began = time.monotonic()
    running.signal(signal.SIGTERM)
    done = running.wait(20)
    assert time.monotonic() - began < 2
    assert done.status == 0, done.stderr
    assert "child.py" not in processes(guest)


def test_an_ordinary_user_is_told_what_could_not_be_opened_and_why(boot_lab: Boot) -> None:
    guest = boot_lab(STRIPE)
    packages = f"{sys.prefix}/lib/python{sys.version_info.major}.{sys.version_info.minor}"
    done = guest.run(
        "setpriv --reuid=65534 --regid=65534 --clear-groups env HOME=/tmp "
        f"PYTHONPATH=agent:{packages}/site-packages /usr/bin/python3 -m arraygauge check",
        timeout_seconds=120,
    )
    assert done.status == 5, done.stderr
    assert "run as root" in " ".join(done.stdout.split())
    assert "Traceback" not in done.stdout + done.stderr


def test_a_failed_parity_member_is_reported_with_the_degraded_expectation(boot_lab: Boot) -> None:
    guest = boot_lab(PARITY)
    guest.fail("md0", "cedar")
    status, document = check(guest)
    [verdict] = document["arrays"]
    assert status == 4
    assert verdict["protection"] == "none left"
    assert verdict["health"]["lost"] == [guest.device("cedar")]
    assert verdict["expected"]["ceiling_bytes_per_second"] == pytest.approx(3 * DRIVE, rel=0.05)
    assert verdict["measured"]["reason"] == "no redundancy left"


def test_an_unplugged_stripe_member_is_reported_broken_by_name(boot_lab: Boot) -> None:
    guest = boot_lab(STRIPE)
    name = guest.device("birch")
    guest.unplug("birch")
    assert guest.read("/sys/block/md0/md/array_state").strip() == "clean"
    status, document = check(guest)
    [verdict] = document["arrays"]
    assert status == 4
    assert verdict["protection"] == "broken"
    assert verdict["health"]["silent"] == [name]
    assert f"{name} is gone, though the kernel still says 'clean'" in verdict["explanation"]


def test_a_drive_that_vanishes_in_mid_probe_is_a_clear_message(boot_lab: Boot) -> None:
    guest = boot_lab(STRIPE)
    name = guest.device("cedar")
    guest.write(CONFIG, SHORT_BURSTS.replace("1.8", "6"))
    running = guest.start_module("arraygauge", "--config", CONFIG, "check", name)
    wait_until_read(guest, name)
    guest.unplug("cedar")
    done = running.wait(60)
    assert done.status == 5
    assert name in done.stdout
    assert "Traceback" not in done.stdout + done.stderr
    assert "child.py" not in processes(guest)
