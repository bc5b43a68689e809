"""`arraygauge run` while a drive gives no answer: told once, the rest goes on, and it ends soon.

QEMU holds the drive's requests back, so that who reads it sleeps in the kernel where no signal
reaches. Passes follow each other at a second's distance and are as short as they can be made;
emulated it all takes about three minutes, and so ARRAYGAUGE_LAB_WHOLE=1 has to ask for it.
"""

from __future__ import annotations

import json
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pytest

from lab.agent import AMPLE_BUDGET, CONFIG
from lab.command import Running
from lab.guest import Guest
from lab.host import HERE
from lab.machine import MIB, Drive, Machine, Transport
from lab.whole import WHOLE

pytestmark = [
    pytest.mark.lab,
    pytest.mark.measures,
    pytest.mark.skipif(not WHOLE, reason="takes three minutes: ARRAYGAUGE_LAB_WHOLE=1 runs it"),
]

NAMES = ("alder", "birch", "cedar")
HUNG = "birch"
MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=Transport.VIRTIO,
            bytes_per_second=40_000_000,
            size_bytes=64 * MIB,
        )
        for name in NAMES
    ),
)
SHORT_PASSES = f"""[run]
interval_seconds = 1
[probe]
longest_burst_seconds = 0.3
interval_half_width = 0.2
max_seconds = 0.5
{AMPLE_BUDGET}
"""
PATHS = ("/metrics", "/", "/incidents.json")
TOLD_SECONDS = 60.0
PASSES_WHILE_HUNG = 3
ANSWER_SECONDS = 10.0
"""What a scraper waits by default (Prometheus, scrape_timeout; from memory)."""
PATIENCE_SECONDS = 90.0


@dataclass(slots=True)
class Agent:
    """A running agent, and a poller that asks it all the time."""

    guest: Guest
    running: Running
    poller: Running

    def metrics(self) -> str:
        return self.guest.run("busybox wget -qO- http://127.0.0.1:9847/metrics").checked().stdout

    def passes(self) -> int:
        """That have ended."""
        return int(float(_value(self.metrics(), "arraygauge_passes_total")))

    def measured(self) -> set[str]:
        """Names of the drives that the latest pass has a rate of."""
        text = self.metrics()
        ids = set(re.findall(r'device_read_bytes_per_second\{device="([^"]+)"', text))
        known = re.findall(r'arraygauge_device_info\{device="([^"]+)",name="([^"]+)"', text)
        return {name for stable_id, name in known if stable_id in ids}

    def incidents(self) -> list[dict[str, Any]]:
        """All that are kept, open and closed."""
        done = self.guest.run("busybox wget -qO- http://127.0.0.1:9847/incidents.json").checked()
        document: dict[str, Any] = json.loads(done.stdout)
        return list(document["incidents"])

    def wait_for(self, what: str, wanted: Callable[[], bool], seconds: float) -> float:
        """Seconds until it is so."""
        began = time.monotonic()
        while not wanted():
            assert time.monotonic() - began < seconds, f"not within {seconds} s: {what}"
            time.sleep(0.3)
        return time.monotonic() - began

    def answers(self) -> list[dict[str, Any]]:
        """What the poller has had, and it ends."""
        self.poller.kill()
        return [json.loads(line) for line in self.poller.wait(20).stdout.splitlines()]


def _value(text: str, name: str) -> str:
    found = re.search(rf"^{name} (\S+)$", text, re.MULTILINE)
    return found[1] if found else "0"


@contextmanager
def agent_on(guest: Guest) -> Iterator[Agent]:
    """Running, with at least one whole pass done."""
    guest.run("rm -rf /var/lib/arraygauge/*").checked()
    guest.write(CONFIG, SHORT_PASSES)
    running = guest.start_module("arraygauge", "--config", CONFIG, "run")
    running.wait_for_output("metrics at", 60)
    command = [sys.executable, "-I", "-S", str(HERE / "page_poller.py"), "0.5", *PATHS]
    agent = Agent(guest, running, guest.start(command))
    devices = {guest.device(name) for name in NAMES}
    agent.wait_for("all drives are measured", lambda: agent.measured() == devices, 60)
    try:
        yield agent
    finally:
        running.kill()


def test_a_drive_that_hangs_is_told_once_and_all_else_goes_on(
    boot_lab: Callable[[Machine], Guest],
) -> None:
    guest = boot_lab(MACHINE)
    device = guest.device(HUNG)
    others = {guest.device(name) for name in NAMES if name != HUNG}
    with agent_on(guest) as agent:
        guest.hang(HUNG)
        took = agent.wait_for(
            "it is told", lambda: "device hangs" in _open(agent, device), TOLD_SECONDS
        )
        print(f"told after {took:.1f} s")
        before = agent.passes()
        took = agent.wait_for(
            f"{PASSES_WHILE_HUNG} more passes",
            lambda: agent.passes() >= before + PASSES_WHILE_HUNG,
            PATIENCE_SECONDS,
        )
        print(f"{PASSES_WHILE_HUNG} passes while it hung took {took:.1f} s")
        assert agent.measured() == others
        assert _hung(agent) == [device], "told once, and of no other"
        guest.resume(HUNG)
        took = agent.wait_for(
            "it is measured again", lambda: agent.measured() == {*others, device}, PATIENCE_SECONDS
        )
        print(f"measured again after {took:.1f} s")
        took = agent.wait_for(
            "the incident closes", lambda: not _open(agent, device), PATIENCE_SECONDS
        )
        print(f"and over after {took:.1f} s more")
        assert _hung(agent) == [device]
        guest.hang(HUNG)
        agent.wait_for("it is read again", lambda: _is_read(guest, device), PATIENCE_SECONDS)
        answers = agent.answers()
        began = time.monotonic()
        agent.running.signal(signal.SIGTERM)
        done = agent.running.wait(20)
        ended = time.monotonic() - began
        print(f"ended {ended:.2f} s after SIGTERM")
    _all_answered(answers)
    assert ended < 2
    assert done.status == 0, done.stderr
    assert "Traceback" not in done.stdout + done.stderr


def _is_read(guest: Guest, device: str) -> bool:
    """Whether reads are in flight: Documentation/block/stat.rst, of which inflight is a part."""
    return guest.read(f"/sys/block/{device}/inflight").split()[0] != "0"


def _hung(agent: Agent) -> list[str]:
    """Causes of the incidents, open and closed, that are about no answer. A busy host makes
    drives look slow, and others than these may be kept too."""
    return [
        incident["cause"]["name"]
        for incident in agent.incidents()
        if "device hangs" in [each["matter"] for each in (incident, *incident["also"])]
    ]


def _open(agent: Agent, device: str) -> list[str]:
    """What is the matter with the device, as far as that is open."""
    return [
        finding["matter"]
        for incident in agent.incidents()
        if incident["cause"]["name"] == device and incident["closed_at_seconds"] is None
        for finding in (incident, *incident["also"])
    ]


def _all_answered(answers: list[dict[str, Any]]) -> None:
    for path in PATHS:
        times = sorted(each["seconds"] for each in answers if each["path"] == path)
        print(
            f"{path}: {len(times)} answers, median {times[len(times) // 2]:.2f} s, "
            f"longest {times[-1]:.2f} s"
        )
    slow = [each for each in answers if each["seconds"] > ANSWER_SECONDS or each["status"] != 200]
    assert slow == []
