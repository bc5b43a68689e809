"""How soon a command answers and the service is ready, each as a whole process of its own.

The quickest of several is judged: what else runs on the host only ever takes time.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

HELP_SECONDS = 0.100
READY_SECONDS = 1.0
PROGRAM = (sys.executable, "-m", "arraygauge")
WATCHING_ONLY = """
[budget]
quiet_hours = ["00:00-12:00", "12:00-24:00"]

[run]
listen_port = 0
"""
"""No drive is read on the schedule, and nothing else's port is taken."""


@pytest.mark.measures
def test_help_is_there_within_a_tenth_of_a_second() -> None:
    taken = [help_seconds() for _ in range(15)]
    print(f"help after {min(taken) * 1e3:.0f} ms")
    assert min(taken) <= HELP_SECONDS


def help_seconds() -> float:
    began = time.perf_counter()
    subprocess.run([*PROGRAM, "--help"], stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - began


def test_help_takes_in_nothing_that_only_commands_need() -> None:
    taking_in = "import sys, arraygauge.cli; print(*sorted(sys.modules))"
    command = [sys.executable, "-c", taking_in]
    taken_in = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    ours = [name for name in taken_in if name.startswith("arraygauge")]
    assert ours == ["arraygauge", "arraygauge.cli", "arraygauge.cli.main", "arraygauge.errors"]
    heavy = {"pydantic", "rich", "jinja2", "psutil", "pyudev", "pathlib", "difflib", "sqlite3"}
    assert not heavy & set(taken_in)


@pytest.mark.measures
def test_the_service_is_ready_within_a_second(tmp_path: Path) -> None:
    """From its start as a process to READY=1, which says that the page is served:
    sd_notify(3)."""
    taken = [ready_seconds(tmp_path / str(number)) for number in range(5)]
    print(f"ready after {min(taken):.2f} s")
    assert min(taken) <= READY_SECONDS


def ready_seconds(folder: Path) -> float:
    folder.mkdir()
    config = folder / "config.toml"
    config.write_text(WATCHING_ONLY)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as told:
        told.bind(str(folder / "notify"))
        told.settimeout(30)
        environment = {
            **os.environ,
            "NOTIFY_SOCKET": str(folder / "notify"),
            "STATE_DIRECTORY": str(folder),
        }
        began = time.perf_counter()
        with subprocess.Popen(
            [*PROGRAM, "--config", str(config), "run"],
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        ) as service:
            try:
                while b"READY=1" not in told.recv(4096).splitlines():
                    pass
                return time.perf_counter() - began
            finally:
                service.send_signal(signal.SIGTERM)
                service.wait(10)
