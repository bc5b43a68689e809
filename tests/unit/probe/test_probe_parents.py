"""A child does not outlive the parent it reads for."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from contextlib import suppress

import psutil

from arraygauge.probe.runner import READING
from unit.probe.loop_device import LoopDevice


def test_the_child_ends_when_its_parent_is_killed(endless: LoopDevice) -> None:
    """SIGKILL gives the parent no chance to clean up; the kernel ends the child for it."""
    command = [sys.executable, "-c", _PARENT, *_sent(endless)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as parent:
        try:
            assert parent.stdout is not None
            child = psutil.Process(int(parent.stdout.readline()))
            time.sleep(0.3)
            assert _alive(child)
        finally:
            parent.kill()
    deadline = time.monotonic() + 5
    while _alive(child) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not _alive(child)


def _alive(process: psutil.Process) -> bool:
    with suppress(psutil.NoSuchProcess):
        return process.status() != psutil.STATUS_ZOMBIE
    return False


_PARENT = """
import json, os, subprocess, sys, time
counter = os.memfd_create("bytes read")
os.ftruncate(counter, 24)
child = subprocess.Popen(sys.argv[2:], stdin=subprocess.PIPE, pass_fds=[counter])
asked = json.loads(sys.argv[1]) | {"parent": os.getpid(), "progress": counter, "words": 3}
child.stdin.write(json.dumps(asked).encode() + b"\\n")
child.stdin.flush()
print(child.pid, flush=True)
time.sleep(60)
"""


def _sent(loop: LoopDevice, **changes: object) -> list[str]:
    asked = {
        "path": loop.node,
        "number": loop.number,
        "random": True,
        "seed": 1,
        "transfer_bytes": 4096,
        "queue_depth": 1,
        "streams": 1,
        "extents": [[0, loop.size_bytes]],
        "warm_up_seconds": 0,
        "settle_seconds": 0,
        "place_seconds": 30,
        "in_flight_seconds": None,
        "longest_seconds": 30,
        "meeting": None,
        "max_bytes": 1 << 50,
        "temperature_file": None,
        "hottest_celsius": None,
    }
    return [json.dumps(asked | changes), *READING]


def test_a_child_whose_parent_is_already_gone_reads_nothing(loop: LoopDevice) -> None:
    """The parent it is told of is not its own: the death signal may have come too early."""
    counter = os.memfd_create("bytes read")
    os.ftruncate(counter, 24)
    asked = json.loads(_sent(loop)[0]) | {"parent": 1, "progress": counter, "words": 3}
    done = subprocess.run(
        READING,
        input=json.dumps(asked).encode() + b"\n",
        capture_output=True,
        pass_fds=[counter],
        timeout=10,
        check=True,
    )
    assert done.stdout == b""
    assert os.pread(counter, 24, 0) == bytes(24)
    os.close(counter)
