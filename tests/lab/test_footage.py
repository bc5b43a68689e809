"""`arraygauge footage` on a real md array: what it foretells of a loss, held to the kernel's word
once that has happened."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from lab.agent import CONFIG, SHORT_BURSTS
from lab.guest import Guest
from lab.machine import MIB, ArraySpec, Drive, Machine, Transport
from lab.whole import only_whole

pytestmark = [pytest.mark.lab, pytest.mark.measures, only_whole]

RATE = 20_000_000
NAMES = ("alder", "birch", "cedar", "elder")
MACHINE = Machine(
    drives=tuple(
        Drive(name=name, transport=Transport.VIRTIO, bytes_per_second=RATE, size_bytes=128 * MIB)
        for name in NAMES
    ),
    arrays=(ArraySpec(name="md0", level="raid5", members=NAMES, layout=2),),
)
ASKED = ("--megabits", "80", "--headroom", "0", "--json")
"""Streams of 10 MB/s."""


def carried(guest: Guest) -> dict[str, dict[str, Any]]:
    """By condition, as the command says it."""
    guest.write(CONFIG, SHORT_BURSTS)
    done = guest.run_module(
        "arraygauge", "--config", CONFIG, "footage", "md0", *ASKED, timeout_seconds=180
    )
    assert done.status in (0, 5), done.stderr
    [footage] = json.loads(done.stdout)["footage"]
    return {each["condition"]: each for each in footage["carried"]}


def test_streams_healthy_and_foretold_of_a_loss_that_then_happens(
    boot_lab: Callable[[Machine], Guest],
) -> None:
    """Four drives of 20 MB/s. Healthy reads stripe over all of them, heads or not: 80 MB/s, eight
    streams at most. With one lost each row's survivors are all read: three times 20 MB/s."""
    guest = boot_lab(MACHINE)
    before = carried(guest)
    healthy, foretold = before["healthy"], before["degraded"]
    assert healthy["now"]
    assert healthy["basis"] == "measured"
    assert healthy["most_bytes_per_second"] == pytest.approx(4 * RATE, rel=0.1)
    assert healthy["most_streams"] in (7, 8)
    guest.fail("md0", "birch")
    after = carried(guest)["degraded"]
    assert after["now"]
    assert after["basis"] == "predicted", "an array without redundancy is not read through md"
    assert after["most_bytes_per_second"] == pytest.approx(
        foretold["most_bytes_per_second"], rel=0.1
    )
    assert foretold["most_bytes_per_second"] == pytest.approx(3 * RATE, rel=0.1)
