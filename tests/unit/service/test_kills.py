"""kill -9 at random moments of a whole agent's life: nothing it acknowledged is lost.

Acknowledged is what somebody else has heard: a message that reached the webhook, a measurement
that was printed once it was written down. ``ARRAYGAUGE_KILLS`` raises how often it is killed.
"""

from __future__ import annotations

import functools
import os
import random
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from unit.service.agent_process import Agent
from unit.service.busy_agent import BUSY, TESTS
from unit.service.loopback_hook import Hook, hooked
from unit.service.memory_folder import folder_in_memory

KILLS = int(os.environ.get("ARRAYGAUGE_KILLS", "6"))
LEAST_LONGEST_LIFE_SECONDS = 0.8
"""A slow machine gives its agents longer: twice what one took to its first message."""


def life(folder: Path, live: Callable[[], object]) -> list[str]:
    """Start an agent, let it live while that runs, kill it; the lines it had printed by then."""
    environment = {"STATE_DIRECTORY": str(folder / "state"), "PYTHONPATH": str(TESTS)}
    agent = Agent(folder / "config.toml", environment, BUSY, folder / "log")
    lines: list[str] = []
    out = agent.process.stdout
    assert out is not None
    reading = threading.Thread(target=lambda: lines.extend(out))
    reading.start()
    live()
    agent.process.kill()
    agent.process.wait()
    reading.join()
    out.close()
    return [line for line in lines if line.startswith("kept ") and line.endswith("\n")]


def wait_for_message(hook: Hook) -> None:
    deadline = time.monotonic() + 30
    while not hook.received:
        assert time.monotonic() < deadline, "no message at all"
        time.sleep(0.01)


@pytest.fixture
def folder() -> Iterator[Path]:
    with folder_in_memory() as made:
        yield made


def test_nothing_acknowledged_is_lost_to_kills_at_random_moments(folder: Path) -> None:
    chance = random.Random(20261126)
    printed: list[float] = []
    with hooked() as hook:
        configure(folder, hook)
        began = time.monotonic()
        life(folder, lambda: wait_for_message(hook))
        longest = max(LEAST_LONGEST_LIFE_SECONDS, 2 * (time.monotonic() - began))
        for _ in range(KILLS):
            heard = len(hook.received)
            lives = chance.uniform(0, longest)
            lines = life(folder, functools.partial(time.sleep, lives))
            printed += [float(line.split()[1]) for line in lines]
            check_file(folder / "state" / "history.sqlite")
            assert len(hook.received) >= heard
            if lives > longest / 2:
                assert len(hook.received) > heard, "it works again after each kill"
        tokens = {int(message["message_id"], 16) for message in hook.received}
        numbers = {message["number"] for message in hook.received}
    assert len(printed) >= 2 * KILLS
    assert len(tokens) >= 2 * KILLS
    connection = sqlite3.connect(folder / "state" / "history.sqlite")
    with closing(connection):
        kept = {token for (token,) in connection.execute("SELECT token FROM incident_change")}
        known = {number for (number,) in connection.execute("SELECT number FROM incident")}
        rates = {
            rate for (rate,) in connection.execute("SELECT rate_bytes_per_second FROM measurement")
        }
        causes = connection.execute(
            "SELECT device, count(*) FROM incident WHERE closed_at_seconds IS NULL"
            " GROUP BY device HAVING count(*) > 1"
        ).fetchall()
    assert tokens <= kept
    assert numbers <= known
    assert set(printed) <= rates
    assert causes == [], "and no incident is open twice"
    print(f"{KILLS} kills: {len(printed)} measurements and {len(tokens)} messages, none lost")


def configure(folder: Path, hook: Hook) -> None:
    (folder / "config.toml").write_text(
        f"[run]\nlisten_port = 0\n[journal]\nenabled = false\n[[webhook]]\nurl = '{hook.url}'\n"
    )


def check_file(path: Path) -> None:
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    connection.close()
