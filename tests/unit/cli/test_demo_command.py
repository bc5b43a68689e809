"""`arraygauge demo` as a person runs it: what it prints, serves, touches and leaves behind."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

_WATCHED = """
import sys
touched = []
def note(event, arguments):
    if event in ("open", "sqlite3.connect", "socket.connect", "subprocess.Popen"):
        touched.append((event, str(arguments[0])))
from arraygauge.cli import main
sys.addaudithook(note)
try:
    main(["demo", "--no-serve", "--days", "123"])
finally:
    for event, what in touched:
        print(event, what, file=sys.stderr)
"""
_NOT_OURS = re.compile(
    r"/dev/(?!null|urandom)|/sys/|/proc/(?!self/|stat)|/etc/arraygauge|/var/lib/arraygauge"
)
"""Devices, what the inventory reads, and where a real agent keeps what it knows. /proc/stat is
read by a library as it is loaded."""


def demo(*words: str, tmp: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "arraygauge", "demo", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={"PATH": "/usr/bin", "TMPDIR": str(tmp), "STATE_DIRECTORY": str(tmp / "state")},
    )


def test_it_shows_how_it_went_and_leaves_nothing(tmp_path: Path) -> None:
    process = demo("--no-serve", "--days", "123", tmp=tmp_path)
    printed, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    lines = printed.splitlines()
    assert lines[0].startswith("SIMULATED: an invented workstation")
    told = [line for line in lines if "no redundancy left, sdd is missing" in line][:3]
    assert len(told) == 3
    assert all(line.startswith("SIMULATED 2030-05-0") for line in told)
    assert sum(line.startswith("SIMULATED: an invented workstation") for line in lines) == 3
    assert "Nothing is open." in lines
    assert list(tmp_path.iterdir()) == []


def test_it_opens_no_device_no_connection_and_no_real_history() -> None:
    done = subprocess.run(
        [sys.executable, "-c", _WATCHED], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    touched = done.stderr.splitlines()
    assert any(line.startswith("sqlite3.connect") for line in touched), "the hook sees nothing"
    assert [line for line in touched if _NOT_OURS.search(line)] == []
    assert [line for line in touched if line.startswith(("socket.", "subprocess."))] == []


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_on_loopback_until_told_to_stop_and_leaves_nothing(
    tmp_path: Path, number: signal.Signals
) -> None:
    process = demo("--port", "0", "--days", "1", "--speed", "24", tmp=tmp_path)
    assert process.stdout is not None
    process.stdout.readline()
    found = re.search(r"http://(127.0.0.1:\d+)/", process.stdout.readline())
    try:
        assert found
        with urllib.request.urlopen(f"http://{found[1]}/metrics", timeout=10) as answer:
            assert 'version="' in (metrics := answer.read().decode())
        assert 'simulated"} 1' in metrics
        with urllib.request.urlopen(f"http://{found[1]}/incidents.json", timeout=10) as answer:
            assert "(simulated)" in answer.read().decode()
        with urllib.request.urlopen(f"http://{found[1]}/", timeout=10) as answer:
            assert "SIMULATED: an invented workstation" in answer.read().decode()
        assert [each.name[:16] for each in tmp_path.iterdir()] == ["arraygauge-demo-"]
    finally:
        process.send_signal(number)
        process.communicate(timeout=20)
    assert process.returncode == 0
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_is_taken_is_named_with_a_remedy(tmp_path: Path) -> None:
    first = demo("--port", "0", "--days", "1", tmp=tmp_path)
    assert first.stdout is not None
    first.stdout.readline()
    found = re.search(r":(\d+)/", first.stdout.readline())
    try:
        assert found
        second = demo("--port", found[1], "--days", "1", tmp=tmp_path)
        printed, _ = second.communicate(timeout=20)
    finally:
        first.terminate()
        first.communicate(timeout=20)
    assert second.returncode == 2
    assert "cannot serve on 127.0.0.1" in printed
    assert "--port" in printed
