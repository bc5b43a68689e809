"""Scrapes, however many, do not hold up what the agent is for."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.measures

SECONDS = 4.0
RATE = 1000
WORST_SECONDS = 0.5
"""Half of what may pass from the kernel's word to the message."""

ANSWERS = {"event": ("0\n", "1\n"), "probe": ("completed\n",)}


def test_a_thousand_scrapes_a_second_delay_no_event_and_no_probe(tmp_path: Path) -> None:
    """From an event to its incident in the history and in the metrics, and from asking for a
    probe of 16 MiB to its answer, with and without."""
    (tmp_path / "file").write_bytes(os.urandom(16 << 20))
    agent = subprocess.Popen(
        [sys.executable, "-m", "fleet.stormed_agent", str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[1],
    )
    assert agent.stdin is not None
    assert agent.stdout is not None
    try:
        address = agent.stdout.readline().strip()
        calm = events(agent, 1.0)
        calm_probes = answers(agent, "probe", 1.0)
        storm = subprocess.Popen(
            [sys.executable, "-m", "fleet.scrape_storm", address, str(RATE), str(SECONDS)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[1],
        )
        time.sleep(0.5)
        stormy = events(agent, SECONDS - 2.0)
        stormy_probes = answers(agent, "probe", 1.0)
        answered = int(storm.communicate(timeout=30)[0])
    finally:
        agent.kill()
        agent.communicate()
    for name, found in (
        ("events, calm", calm),
        ("events, storm", stormy),
        ("probes, calm", calm_probes),
        ("probes, storm", stormy_probes),
    ):
        middle = found[len(found) // 2] * 1e3
        print(f"{len(found)} {name}: median {middle:.1f} ms, worst {found[-1] * 1e3:.1f} ms")
    print(f"scrapes answered a second: {answered / SECONDS:.0f}")
    assert answered >= RATE * SECONDS / 4
    assert stormy[-1] <= WORST_SECONDS
    assert stormy_probes[-1] <= calm_probes[-1] + WORST_SECONDS


def events(agent: subprocess.Popen[str], seconds: float) -> list[float]:
    return answers(agent, "event", seconds)


def answers(agent: subprocess.Popen[str], what: str, seconds: float) -> list[float]:
    """How long each took, the longest last."""
    assert agent.stdin is not None
    assert agent.stdout is not None
    took = []
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        began = time.perf_counter()
        agent.stdin.write(f"{what}\n")
        agent.stdin.flush()
        assert agent.stdout.readline() in ANSWERS[what]
        took.append(time.perf_counter() - began)
        time.sleep(0.05)
    return sorted(took)
