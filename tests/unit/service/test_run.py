"""`arraygauge run` as a process on this machine: serves, measures, obeys signals."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from arraygauge.cli.status import Exit
from unit.service.agent_process import FRUGAL, Agent, running


@pytest.fixture
def agent(tmp_path: Path) -> Iterator[Agent]:
    with running(tmp_path) as started:
        yield started


@pytest.fixture
def measuring(tmp_path: Path) -> Iterator[Agent]:
    with running(tmp_path, configuration=FRUGAL) as started:
        yield started


def test_a_strict_openmetrics_parser_accepts_what_it_serves(measuring: Agent) -> None:
    agent = measuring
    deadline = time.monotonic() + 60
    while "arraygauge_passes_total 1\n" not in (text := agent.scrape()):
        assert time.monotonic() < deadline
        time.sleep(0.2)
    families = {family.name: family for family in text_string_to_metric_families(text)}
    wanted = "build passes pass_duration_seconds pass_interval_seconds look_timestamp_seconds"
    wanted += " incidents_open messages_waiting"
    assert {f"arraygauge_{name}" for name in wanted.split()} <= set(families)
    [beat] = families["arraygauge_heartbeat_timestamp_seconds"].samples
    assert abs(time.time() - beat.value) < 60
    assert agent.terminate() < 2


def test_sigterm_right_after_start_is_obeyed_within_two_seconds(agent: Agent) -> None:
    assert agent.terminate() < 2
    assert agent.process.returncode == 0


STUCK_PASS = """
import time
from arraygauge.service.passes import Passes
Passes._pass = lambda self, pulse: time.sleep(3600)
"""
STUCK_HISTORY = """
import time
from arraygauge.service.keeper import Keeper
def see_host(self, host):
    with self._lock, self._pen.history.transaction():
        time.sleep(3600)
Keeper.see_host = see_host
"""
STUCK_MAIN = """
import time
from arraygauge.service.parts import Parts
Parts.end = lambda self, within_seconds: time.sleep(3600)
"""
BUSY_PASS = """
from arraygauge.service.passes import Passes
def spin(self, pulse):
    while True:
        pass
Passes._pass = spin
"""


@pytest.mark.parametrize("fault", [STUCK_PASS, STUCK_HISTORY, STUCK_MAIN, BUSY_PASS])
def test_sigterm_ends_it_within_two_seconds_whatever_a_part_does(
    fault: str, tmp_path: Path
) -> None:
    """A pass that hangs or spins, a disk under the history that hangs, an end that hangs."""
    with running(tmp_path, fault=fault) as agent:
        time.sleep(1.0)
        assert agent.terminate() < 2
        assert agent.process.returncode == 0


def test_it_listens_on_loopback_only(agent: Agent) -> None:
    assert agent.address.startswith("127.0.0.1:")


def test_a_taken_port_is_a_clear_message(agent: Agent, tmp_path: Path) -> None:
    port = agent.address.split(":")[1]
    done = _second(tmp_path, f"[run]\nlisten_port = {port}\n", tmp_path / "elsewhere")
    assert done.returncode == Exit.USAGE_ERROR
    assert f"cannot serve on 127.0.0.1:{port}" in done.stderr
    assert "run.listen_port" in done.stderr


def test_a_history_has_one_agent_only(agent: Agent, tmp_path: Path) -> None:
    done = _second(tmp_path, "[run]\nlisten_port = 0\n", tmp_path / "state")
    assert done.returncode == Exit.RUNTIME_ERROR
    assert f"owned by another arraygauge, process {agent.process.pid}" in done.stderr
    assert "STATE_DIRECTORY" in done.stderr


def _second(folder: Path, configuration: str, state: Path) -> subprocess.CompletedProcess[str]:
    config = folder / "second.toml"
    config.write_text(configuration)
    return subprocess.run(
        [sys.executable, "-m", "arraygauge", "--config", str(config), "run"],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
        env={"PATH": "/usr/bin", "STATE_DIRECTORY": str(state)},
    )
