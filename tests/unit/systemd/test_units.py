"""The units as systemd's own tools read them, and as the agent needs them to be."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

UNITS = Path(__file__).parents[3] / "systemd"
SERVICE = UNITS / "arraygauge.service"
MOST_EXPOSED = 1.3

needs_systemd_analyze = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed here"
)


def analyze(*words: str) -> str:
    done = subprocess.run(
        ["systemd-analyze", *words], capture_output=True, text=True, check=False, timeout=60
    )
    return done.stdout + done.stderr


@needs_systemd_analyze
@pytest.mark.parametrize("unit", sorted(UNITS.glob("*.service")), ids=lambda path: path.name)
def test_systemd_finds_nothing_to_say_about_a_unit(unit: Path, tmp_path: Path) -> None:
    """`systemd-analyze verify` exits with 0 on unknown keys, so any word of it is a fault. The
    program is not installed where tests run; another stands for it."""
    copied = tmp_path / unit.name
    copied.write_text(unit.read_text().replace("/usr/bin/arraygauge", "/bin/true"))
    assert analyze("verify", "--man=no", str(copied)) == ""


@needs_systemd_analyze
def test_the_service_is_hardly_exposed() -> None:
    said = analyze("security", "--offline=true", "--no-pager", str(SERVICE))
    found = re.search(r"Overall exposure level for arraygauge.service: ([0-9.]+)", said)
    assert found, said
    assert float(found[1]) <= MOST_EXPOSED


def settings(unit: Path) -> dict[str, list[str]]:
    """What a unit sets, comments left out: systemd.syntax(7)."""
    found: dict[str, list[str]] = {}
    for line in unit.read_text().splitlines():
        if "=" in line and not line.startswith("#"):
            key, value = line.split("=", 1)
            found.setdefault(key, []).append(value)
    return found


def test_block_devices_may_be_read_and_nothing_else() -> None:
    """kernel documents on the device controller: access is checked at open(2)."""
    given = settings(SERVICE)
    assert given["DevicePolicy"] == ["closed"]
    assert given["DeviceAllow"] == ["block-* r"]
    assert given["CapabilityBoundingSet"] == [""]


def test_what_would_blind_the_agent_is_not_set() -> None:
    """Each hides what it watches: drives, /proc/diskstats, the kernel's events."""
    given = settings(SERVICE)
    assert given["PrivateDevices"] == ["no"]
    assert given["ProcSubset"] == ["all"]
    assert "PrivateNetwork" not in given
    assert "AF_NETLINK" in given["RestrictAddressFamilies"][0]


def test_the_service_is_watched_reloaded_and_started_again() -> None:
    given = settings(SERVICE)
    assert given["Type"] == ["notify"]
    assert given["ExecReload"] == ["/bin/kill -HUP $MAINPID"]
    assert given["Restart"] == ["on-failure"]
    assert int(given["WatchdogSec"][0]) >= 60, "fed every 30 s, it wakes nobody for nothing"
    assert int(given["TimeoutStopSec"][0]) > 2, "the agent ends by itself within 2 s"
