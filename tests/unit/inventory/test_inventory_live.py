"""The running machine, whatever it is, is read quickly and without opening a device."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from arraygauge.inventory.host import read_host
from arraygauge.inventory.tree import Tree
from arraygauge.inventory.udev import ask_running_udev, no_udev, open_udev
from captured.machines import lay_out


def test_every_block_device_of_this_machine_is_there() -> None:
    before = set(os.listdir("/sys/class/block"))
    host = read_host()
    after = set(os.listdir("/sys/class/block"))
    found = {device.name for device in host.devices}
    assert before & after <= found <= before | after  # devices may come and go meanwhile
    assert host.kernel == os.uname().release


def test_this_machine_s_root_filesystem_is_found_where_it_has_a_drive() -> None:
    device_number = os.stat("/").st_dev
    number = (os.major(device_number), os.minor(device_number))
    mounted = [device for device in read_host().devices if device.number == number]
    if not mounted:
        pytest.skip("the root filesystem is on no block device here")
    mount_points = {
        line.split()[4] for line in Path("/proc/self/mountinfo").read_text().splitlines()
    }
    if "/" not in mount_points:
        pytest.skip("the root directory is no mount here, as in a chroot")
    assert "/" in [mount.mount_point for mount in mounted[0].mounts]


def test_a_workstation_is_read_well_within_a_tenth_of_a_second(tmp_path: Path) -> None:
    """22 drives and 7 arrays; the best of five, as the machine may be busy."""
    tree = lay_out("lab_levels", tmp_path)
    seconds = []
    for _ in range(5):
        started = time.perf_counter()
        read_host(tree)
        seconds.append(time.perf_counter() - started)
    assert min(seconds) < 0.1


def test_the_values_load_without_udev_psutil_or_any_reader() -> None:
    """theory imports them, and must stay quick to load."""
    script = "import arraygauge.inventory, sys; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(run.stdout.split())
    assert "arraygauge.inventory.values" in loaded
    assert not loaded & {"pyudev", "psutil", "arraygauge.inventory.host", "pathlib"}


def test_udev_is_asked_of_the_running_machine_only(tmp_path: Path) -> None:
    assert open_udev(Tree(root=tmp_path)) is no_udev
    assert open_udev(Tree()) in (no_udev, ask_running_udev)


def test_udev_answers_for_a_real_device_and_shrugs_at_an_unreal_one() -> None:
    """Without a udev daemon libudev still knows what the kernel's uevent file says."""
    numbered = next(iter(sorted(Path("/sys/class/block").glob("*/dev"))), None)
    if numbered is None:
        pytest.skip("no block device here")
    major, minor = numbered.read_text(encoding="ascii").split(":")
    answer = ask_running_udev((int(major), int(minor)))
    assert answer.get("MAJOR") in (major, None)  # None: no libudev on this machine
    assert ask_running_udev((4095, 1048575)) == {}
    assert ask_running_udev((10**30, 0)) == {}
