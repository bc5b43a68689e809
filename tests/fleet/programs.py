"""Debian's Prometheus and Alertmanager, started on loopback for one test and ended after it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

START_SECONDS = 20.0


def require(*programs: str) -> None:
    """Skip the test where a program is not installed; with ARRAYGAUGE_FLEET_REQUIRED=1, fail."""
    missing = [program for program in programs if shutil.which(program) is None]
    if not missing:
        return
    reason = f"not installed: {', '.join(missing)}; run tests/fleet/setup.sh as root on Debian"
    if os.environ.get("ARRAYGAUGE_FLEET_REQUIRED") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


def promtool(*arguments: str, given: str | None = None) -> str:
    """What it says; fails the test where it finds fault."""
    done = subprocess.run(
        ["promtool", *arguments], input=given, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def until(so: Callable[[], bool], seconds: float, what: str) -> None:
    deadline = time.monotonic() + seconds
    while not so():
        assert time.monotonic() < deadline, f"not within {seconds} s: {what}"
        time.sleep(0.1)


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


@contextmanager
def prometheus(folder: Path, configuration: str) -> Iterator[str]:
    """Its address, once it is ready. ``folder`` takes its data."""
    (folder / "prometheus.yml").write_text(configuration)
    address = f"127.0.0.1:{free_port()}"
    command = [
        "prometheus",
        f"--config.file={folder}/prometheus.yml",
        f"--storage.tsdb.path={folder}/data",
        f"--web.listen-address={address}",
        "--log.level=warn",
    ]
    with _running(command, folder / "prometheus.log", f"http://{address}/-/ready"):
        yield address


@contextmanager
def alertmanager(folder: Path, configuration: Path) -> Iterator[str]:
    """Its address, once it is ready. It joins no cluster."""
    address = f"127.0.0.1:{free_port()}"
    command = [
        "prometheus-alertmanager",
        f"--config.file={configuration}",
        f"--storage.path={folder}/alerts",
        f"--web.listen-address={address}",
        "--cluster.listen-address=",
        "--log.level=warn",
    ]
    with _running(command, folder / "alertmanager.log", f"http://{address}/-/ready"):
        yield address


@contextmanager
def _running(command: list[str], log: Path, ready: str) -> Iterator[None]:
    with log.open("w") as said:
        process = subprocess.Popen(command, stdout=said, stderr=said)
        try:
            deadline = time.monotonic() + START_SECONDS
            while not _answers(ready):
                assert process.poll() is None, log.read_text()
                assert time.monotonic() < deadline, log.read_text()
                time.sleep(0.1)
            yield
        finally:
            process.kill()
            process.wait(10)


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=1) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False
