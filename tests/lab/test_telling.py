"""The daemon on a real md kernel: a failed member is an incident, told at once and kept."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from statistics import median

import pytest

from lab.agent import CONFIG
from lab.guest import Guest
from lab.machine import MIB, ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

NAMES = ("alder", "birch", "cedar", "dogwood", "elder", "fir", "gorse")
MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=Transport.VIRTIO,
            bytes_per_second=20_000_000,
            size_bytes=64 * MIB,
        )
        for name in NAMES
    ),
    arrays=(ArraySpec(name="md0", level="raid1", members=NAMES, chunk_bytes=0),),
)
WATCHING_ONLY = """[budget]
quiet_hours = ["00:00-12:00", "12:00-24:00"]
[[webhook]]
url = "http://127.0.0.1:9999/"
least_severity = "information"
"""
WORST_MILLISECONDS = 1000


def test_a_failed_member_is_told_within_a_second_and_kept(
    boot_lab: Callable[[Machine], Guest],
) -> None:
    """From the kernel's marking it faulty to the message on loopback and the row in the history,
    member after member of a mirror of seven; each is an incident of its own."""
    guest = boot_lab(MACHINE)
    devices = [guest.device(name) for name in NAMES[1:]]
    receiver = guest.start(
        "mkfifo /run/go; PYTHONPATH=tests exec python -m lab.incident_watcher md0 "
        f"{' '.join(devices)} < /run/go"
    )
    guest.write(CONFIG, WATCHING_ONLY)
    daemon = guest.start_module("arraygauge", "--config", CONFIG, "run")
    daemon.wait_for_output("metrics at", 60)
    guest.run("sleep 6; echo go > /run/go")
    output = receiver.wait(120).stdout
    reports = [json.loads(line) for line in output.splitlines()][1:]
    times = [report["milliseconds"] for report in reports]
    print("member faulty to webhook, ms:", *times)
    daemon.signal(signal.SIGTERM)
    assert daemon.wait(20).status == 0
    assert len(times) == len(devices)
    assert None not in times
    assert max(times) <= WORST_MILLISECONDS
    assert median(times) <= WORST_MILLISECONDS / 2
    kept = json.loads(guest.run_module("arraygauge", "incidents", "--json").stdout)
    causes = [incident["cause"]["name"] for incident in kept["incidents"]]
    assert sorted(causes) == sorted(devices)
