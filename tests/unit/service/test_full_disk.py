"""A disk that is full under a whole agent's history: it goes on, says so, and recovers."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from unit.service.agent_process import Agent
from unit.service.busy_agent import BUSY, TESTS
from unit.service.loopback_hook import Hook, hooked
from unit.small_disk import fill


def until(true: Callable[[], bool], seconds: float = 30.0) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def told(hook: Hook, change: str) -> list[str]:
    """Causes of messages about the agent itself, of one kind of change."""
    return [
        each["cause"]["name"]
        for each in list(hook.received)
        if each["matter"] == "agent impaired" and each["change"] == change
    ]


def enlarge(disk: Path) -> None:
    """Room enough that so busy an agent does not fill it again at once."""
    subprocess.run(["mount", "-o", "remount,size=32m", str(disk)], check=True)


def test_the_agent_goes_on_says_so_and_recovers(small_disk: Path, tmp_path: Path) -> None:
    config = tmp_path / "config.toml"
    with hooked() as hook:
        config.write_text(
            f"[run]\nlisten_port = 0\n[journal]\nenabled = false\n[[webhook]]\nurl = '{hook.url}'\n"
        )
        environment = {"STATE_DIRECTORY": str(small_disk), "PYTHONPATH": str(TESTS)}
        agent = Agent(config, environment, BUSY, tmp_path / "log")
        try:
            hook.wait_for(3)
            fill(small_disk / "ballast")
            until(lambda: "the history" in told(hook, "opened"))
            causes = {each["cause"]["name"]: json.dumps(each) for each in hook.received}
            assert "history.sqlite" in causes["the history"]
            assert "full" in causes["the history"]
            heard = len(hook.received)
            until(lambda: len(hook.received) >= heard + 3)
            assert "arraygauge_build_info" in agent.scrape(), "it goes on"
            enlarge(small_disk)
            until(lambda: "the history" in told(hook, "closed"))
            tokens = {int(each["message_id"], 16) for each in hook.received}
            assert agent.terminate() < 2
        finally:
            agent.kill()
    with closing(sqlite3.connect(small_disk / "history.sqlite")) as connection:
        kept = {token for (token,) in connection.execute("SELECT token FROM incident_change")}
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert tokens <= kept, "what was told while nothing could be written is written afterwards"
