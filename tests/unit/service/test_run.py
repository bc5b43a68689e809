"""`arraygauge run` as a process on this machine: serves, measures, obeys SIGTERM."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from arraygauge.cli.status import Exit

STRICT = {"Accept": "application/openmetrics-text; version=1.0.0"}


class Agent:
    """A running agent; its first line says where it serves."""

    def __init__(self, config: Path, environment: dict[str, str]) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "arraygauge", "--config", str(config), "run"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://([0-9.]+:[0-9]+)/metrics", line)
        assert found, line + (self.process.stderr.read() if self.process.stderr else "")
        self.address = found[1]

    def scrape(self) -> str:
        request = urllib.request.Request(f"http://{self.address}/metrics", headers=STRICT)
        with urllib.request.urlopen(request, timeout=10) as answer:
            return str(answer.read().decode())

    def terminate(self) -> float:
        """Seconds from SIGTERM to the end."""
        began = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        self.process.communicate(timeout=10)
        return time.monotonic() - began


@pytest.fixture
def agent(tmp_path: Path) -> Iterator[Agent]:
    config = tmp_path / "config.toml"
    config.write_text(
        "[run]\nlisten_port = 0\n[probe]\nown_file_bytes = '32 MiB'\nmax_bytes = '64 MiB'\n"
    )
    running = Agent(config, {"STATE_DIRECTORY": str(tmp_path / "state"), "PATH": "/usr/bin"})
    yield running
    running.process.kill()
    running.process.communicate()


def test_a_strict_openmetrics_parser_accepts_what_it_serves(agent: Agent) -> None:
    deadline = time.monotonic() + 60
    while "arraygauge_passes_total 1.0" not in (text := agent.scrape()):
        assert time.monotonic() < deadline
        time.sleep(0.2)
    families = {family.name for family in text_string_to_metric_families(text)}
    assert {"arraygauge_build", "arraygauge_passes", "arraygauge_pass_duration_seconds"} <= families
    assert agent.terminate() < 2


def test_sigterm_right_after_start_is_obeyed_within_two_seconds(agent: Agent) -> None:
    assert agent.terminate() < 2
    assert agent.process.returncode == 0


def test_it_listens_on_loopback_only(agent: Agent) -> None:
    assert agent.address.startswith("127.0.0.1:")


def test_a_taken_port_is_a_clear_message(agent: Agent, tmp_path: Path) -> None:
    port = agent.address.split(":")[1]
    config = tmp_path / "second.toml"
    config.write_text(f"[run]\nlisten_port = {port}\n")
    done = subprocess.run(
        [sys.executable, "-m", "arraygauge", "--config", str(config), "run"],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == Exit.USAGE_ERROR
    assert f"cannot serve on 127.0.0.1:{port}" in done.stderr
    assert "run.listen_port" in done.stderr
