"""The daemon on a real md kernel: a lost member is an incident, told at once and kept.

ARRAYGAUGE_TELLING_REPETITIONS is how many machines lose six members each (1).
"""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Callable
from statistics import median
from typing import Any

import pytest

from lab.agent import CONFIG
from lab.command import Running
from lab.guest import Guest
from lab.machine import KIB, MIB, ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

REPETITIONS = int(os.environ.get("ARRAYGAUGE_TELLING_REPETITIONS", "1"))
NAMES = ("alder", "birch", "cedar", "dogwood", "elder", "fir", "gorse")
OTHERS = ("hazel", "ivy", "juniper", "larch", "maple")


def drives(*names: str) -> tuple[Drive, ...]:
    return tuple(
        Drive(
            name=name,
            transport=Transport.VIRTIO,
            bytes_per_second=20_000_000,
            size_bytes=16 * MIB,
        )
        for name in names
    )


MIRROR = Machine(
    drives=drives(*NAMES),
    arrays=(ArraySpec(name="md0", level="raid1", members=NAMES, chunk_bytes=0),),
)
PAIRS = tuple(zip(NAMES[:6], (NAMES[6], *OTHERS), strict=True))
STRIPES = Machine(
    drives=drives(*NAMES, *OTHERS),
    arrays=tuple(
        ArraySpec(name=f"md{number}", level="raid0", members=pair, chunk_bytes=64 * KIB)
        for number, pair in enumerate(PAIRS)
    ),
)
WATCHING_ONLY = """[budget]
quiet_hours = ["00:00-12:00", "12:00-24:00"]
[[webhook]]
url = "http://127.0.0.1:9999/"
least_severity = "information"
"""
WORST_MILLISECONDS = 1000
REST_SECONDS = 3


@pytest.mark.parametrize("turn", range(REPETITIONS))
def test_a_failed_member_is_told_within_a_second_and_kept(
    boot_lab: Callable[[Machine], Guest], turn: int
) -> None:
    """From the kernel's marking it faulty to the message on loopback and the row in the history,
    member after member of a mirror of seven; each is an incident of its own."""
    guest = boot_lab(MIRROR)
    devices = [guest.device(name) for name in NAMES[1:]]
    try:
        receiver, daemon = watched(guest, "fail", "md0", *devices)
        guest.run("echo go > /run/go")
        times = soon(reports(receiver.wait(120).stdout), devices, f"{turn}: member faulty")
        assert median(times) <= WORST_MILLISECONDS / 2
        kept(guest, daemon, devices)
    finally:
        guest.stop("md0")  # its members stay failed: who asks for this machine gets a new one


@pytest.mark.parametrize("turn", range(REPETITIONS))
def test_an_unplugged_member_of_a_stripe_is_told_within_a_second_and_kept(
    boot_lab: Callable[[Machine], Guest], turn: int
) -> None:
    """md says nothing when a stripe's member leaves: the kernel's word on the drive is all. The
    time holds what the emulated kernel itself takes to let go of the drive."""
    guest = boot_lab(STRIPES)
    names = [pair[(turn + number) % 2] for number, pair in enumerate(PAIRS)]
    devices = [guest.device(name) for name in names]
    receiver, daemon = watched(guest, "unplugged", *devices)
    guest.run("echo go > /run/go")
    for name, device in zip(names, devices, strict=True):
        time.sleep(REST_SECONDS)
        guest.unplug(name)
        receiver.wait_for_output(f'"device": "{device}"', 60)
    times = soon(reports(receiver.wait(60).stdout), devices, f"{turn}: stripe member unplugged")
    assert median(times) <= WORST_MILLISECONDS / 2
    kept(guest, daemon, devices)


def watched(guest: Guest, *words: str) -> tuple[Running, Running]:
    """What times the messages, waiting for a line in /run/go, and an agent that has looked."""
    guest.run("rm -rf /var/lib/arraygauge/* /run/go; mkfifo /run/go").checked()
    receiver = guest.start(
        f"PYTHONPATH=tests exec python -m lab.incident_watcher {' '.join(words)} < /run/go"
    )
    guest.write(CONFIG, WATCHING_ONLY)
    daemon = guest.start_module("arraygauge", "--config", CONFIG, "run")
    daemon.wait_for_output("metrics at", 60)
    guest.run("sleep 6")
    return receiver, daemon


def reports(written: str) -> list[dict[str, Any]]:
    """All but the first line, which says that the receiver is ready."""
    return [json.loads(line) for line in written.splitlines()][1:]


def soon(found: list[dict[str, Any]], devices: list[str], what: str) -> list[float]:
    """Milliseconds; none may be more than a second."""
    times = [report["milliseconds"] for report in found]
    print(f"{what} to webhook, ms:", *times)
    assert [report["device"] for report in found] == devices
    assert None not in times
    assert max(times) <= WORST_MILLISECONDS
    return times


def kept(guest: Guest, daemon: Running, devices: list[str]) -> None:
    """Each is one incident in the history, and nothing else is."""
    daemon.signal(signal.SIGTERM)
    assert daemon.wait(20).status == 0
    told = json.loads(guest.run_module("arraygauge", "incidents", "--json").stdout)
    causes = [incident["cause"]["name"] for incident in told["incidents"]]
    assert sorted(causes) == sorted(devices)
