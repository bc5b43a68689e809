"""A member that slows down, on a real md kernel: the next pass of the daemon names it, and only it.

ARRAYGAUGE_DRIFT_REPETITIONS repeats it (1), with another member each time.
"""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Callable
from typing import Any

import pytest

from lab.agent import AMPLE_BUDGET, CONFIG
from lab.guest import Guest
from lab.machine import ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

REPETITIONS = int(os.environ.get("ARRAYGAUGE_DRIFT_REPETITIONS", "1"))
RATE = 60_000_000
NAMES = ("alder", "birch", "cedar")
MACHINE = Machine(
    drives=tuple(
        Drive(name=name, transport=Transport.VIRTIO, bytes_per_second=RATE) for name in NAMES
    ),
    arrays=(ArraySpec(name="md0", level="raid0", members=NAMES),),
)
OFTEN = f"""[run]
interval_seconds = 1
[probe]
longest_burst_seconds = 2.4
interval_half_width = 0.05
{AMPLE_BUDGET}"""
PASS_SECONDS = 60
"""Longer than a pass can take here."""
HISTORY = "/var/lib/arraygauge"


def asked(guest: Guest, *words: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(guest.run_module("arraygauge", *words).stdout)
    return document


def measured_times(guest: Guest) -> int:
    """How many passes have been kept, by the array's measurements."""
    return len(asked(guest, "history", "md0", "--json")["measurements"])


def wait_for_passes(guest: Guest, more: int) -> None:
    """Until so many have begun and ended from now on."""
    wanted, deadline = measured_times(guest) + more, time.monotonic() + more * PASS_SECONDS
    while measured_times(guest) < wanted:
        assert time.monotonic() < deadline, "the passes do not end"
        time.sleep(2)


@pytest.mark.parametrize("turn", range(REPETITIONS))
def test_a_member_slowed_by_thirty_per_cent_is_named_by_the_first_pass_after_it(
    boot_lab: Callable[[Machine], Guest], turn: int
) -> None:
    guest = boot_lab(MACHINE)
    guest.run(f"rm -rf {HISTORY}/*").checked()
    slow = NAMES[turn % len(NAMES)]
    guest.write(CONFIG, OFTEN)
    daemon = guest.start_module("arraygauge", "--config", CONFIG, "run")
    daemon.wait_for_output("3 members", PASS_SECONDS)
    assert asked(guest, "incidents", "--json")["incidents"] == []
    guest.limit(slow, RATE * 7 // 10)
    try:
        # The pass that is under way may have read it before; the one after it has not.
        wait_for_passes(guest, 2)
        incidents = asked(guest, "incidents", "--json")["incidents"]
    finally:
        guest.limit(slow, RATE)
        daemon.signal(signal.SIGTERM)
    assert daemon.wait(20).status == 0
    print([(each["cause"]["name"], each["words"]["reason"]) for each in incidents])
    [incident] = incidents
    assert incident["cause"]["name"] == guest.device(slow)
    assert (incident["matter"], incident["arrays"]) == ("slow member", ["md0"])
    assert incident["closed_at_seconds"] is None
    watched = asked(guest, "history", guest.device(slow), "--json")["watched"]
    assert [each["watch"] for each in watched] == ["learning"]
