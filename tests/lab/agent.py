"""Running the agent in a lab machine."""

from __future__ import annotations

import json
import time
from typing import Any

from lab.guest import Guest

CONFIG = "/run/arraygauge/config.toml"
AMPLE_BUDGET = """[budget]
hour_seconds = 3000
day_seconds = 3000
hour_bytes = "1 TiB"
day_bytes = "1 TiB"
"""
"""One lab machine sees more checks in a minute than a workstation in a week."""
SHORT_BURSTS = "[probe]\nlongest_burst_seconds = 4\ninterval_half_width = 0.05\n" + AMPLE_BUDGET
"""Six places in one burst, emulated as the machine is."""

Verdicts = dict[str, Any]


def check(guest: Guest, *names: str, config: str = SHORT_BURSTS) -> tuple[int, Verdicts]:
    """Exit status and document of `arraygauge check --json`."""
    guest.write(CONFIG, config)
    done = guest.run_module(
        "arraygauge", "--config", CONFIG, "check", "--json", *names, timeout_seconds=180
    )
    assert done.stdout, done.stderr
    return done.status, json.loads(done.stdout)


def wait_until_read(guest: Guest, device: str, seconds: float = 60) -> None:
    """Until something reads the device: its first counter in sysfs moves (iostats.rst)."""
    path = f"/sys/block/{device}/stat"
    before = guest.read(path).split()[0]
    deadline = time.monotonic() + seconds
    while guest.read(path).split()[0] == before:
        assert time.monotonic() < deadline, f"nobody read {device} within {seconds} s"
        time.sleep(0.1)
