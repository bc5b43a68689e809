"""`arraygauge check` on this machine's own devices, outside the lab."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from arraygauge.inventory.host import read_host
from arraygauge.inventory.values import DeviceKind
from unit.probe.loop_device import attached, random_file, require_loop_devices

MIB = 2**20


def check(state: Path, *names: str) -> tuple[int, dict[str, Any]]:
    """Regardless of what else this machine does, which is not these tests' to say."""
    state.mkdir(exist_ok=True)
    config = state / "config.toml"
    config.write_text("[probe]\nmax_seconds = 2\nown_file_bytes = '32 MiB'\n")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "arraygauge", "--config", str(config)),
            *("check", "--regardless", "--json", *names),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, "STATE_DIRECTORY": str(state)},
    )
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


def test_a_loop_device_named_by_hand_is_measured_raw(tmp_path: Path) -> None:
    require_loop_devices()
    with attached(random_file(tmp_path / "backing", 64)) as loop:
        status, document = check(tmp_path / "state", loop.node)
    [device] = document["devices"]
    assert (status, device["measured"]["route"]) == (0, "raw")
    assert device["measured"]["bytes_per_second"] > 0
    assert device["measured"]["set_aside"] == []


def test_loop_devices_are_left_alone_unless_named(tmp_path: Path) -> None:
    require_loop_devices()
    with attached(random_file(tmp_path / "backing", 64)) as loop:
        _, document = check(tmp_path / "state")
    assert loop.node.removeprefix("/dev/") not in [d["name"] for d in document["devices"]]


def drive_below(directory: Path) -> str | None:
    """The drive this directory's filesystem lies on, where that refuses raw opening."""
    number = directory.stat().st_dev
    for device in read_host().devices:
        if device.kind is DeviceKind.DRIVE and device.number == (
            os.major(number),
            os.minor(number),
        ):
            try:
                os.close(os.open(device.node, os.O_RDONLY))
            except PermissionError:
                return device.name
            except FileNotFoundError:  # in a chroot without the machine's /dev
                return None
    return None


def test_a_drive_that_refuses_raw_opening_is_measured_through_an_own_file(tmp_path: Path) -> None:
    name = drive_below(tmp_path)
    if name is None:
        pytest.skip("the test directory's drive may be opened raw here, or is not a plain drive")
    status, document = check(tmp_path / "state", name)
    [device] = document["devices"]
    assert (status, device["measured"]["route"]) == (0, "file")
    assert device["measured"]["path"].startswith(str(tmp_path))
    assert "measured through a file" in device["explanation"]
