"""A drive that is unplugged in mid-burst has vanished, and leaves nothing of the agent's behind."""

from __future__ import annotations

import json
import time
from collections.abc import Callable

import pytest

from lab.agent import AMPLE_BUDGET, CONFIG, wait_until_read
from lab.guest import Guest
from lab.harm import BY_FILE, LONE, MACHINE, RECORD, STATE, assert_nothing_runs, files
from lab.machine import Machine

pytestmark = pytest.mark.lab

LONG_BURSTS = (
    "[probe]\nlongest_burst_seconds = 10\nmax_seconds = 60\ninterval_half_width = 0.005\n"
    + AMPLE_BUDGET
)


@pytest.fixture(scope="module")
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    """One machine for all of these, which lose a drive of it each."""
    return boot_lab(MACHINE)


@pytest.mark.parametrize("drive", [LONE, BY_FILE])
def test_it_vanished(guest: Guest, drive: str) -> None:
    """One on virtio and one on NVMe."""
    name = guest.device(drive)
    guest.write(CONFIG, LONG_BURSTS)
    agent = guest.start_module("arraygauge", "--config", CONFIG, "check", "--json", name)
    wait_until_read(guest, name)
    time.sleep(0.3)
    guest.unplug(drive)
    done = agent.wait(30)
    assert done.status == 5, done.stderr
    [told] = json.loads(done.stdout)["devices"]
    assert told["measured"]["outcome"] == "vanished", told["measured"]
    assert told["measured"]["bytes_read"] > 0
    assert name in told["explanation"]
    assert_nothing_runs(guest)
    assert files(guest, STATE) <= RECORD
