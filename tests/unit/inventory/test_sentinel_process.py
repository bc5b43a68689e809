"""The inventory's process, for real: asked, watching, at rest, and its end."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.inventory import Host
from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.frames import Frames
from arraygauge.inventory.host import HostSource
from arraygauge.inventory.sentinel import Sentinel

COMMAND = (sys.executable, "-m", "arraygauge.inventory")
MOST_RESIDENT_KIB = 40 * 1024


class Process:
    """A process and the frames it wrote."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            COMMAND,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.requests, self.answers = self.process.stdin, self.process.stdout
        self._frames = Frames()

    def ask(self, *requests: str) -> None:
        self.requests.write("".join(f"{request}\n" for request in requests).encode())

    def host(self) -> Host:
        """The next machine it tells; events before it are passed over."""
        while True:
            piece = os.read(self.answers.fileno(), 1 << 20)
            assert piece, "it ended"
            for value in self._frames.feed(piece):
                if isinstance(value, Host):
                    return value

    def events(self, seconds: float) -> list[KernelEvent]:
        """What it tells in one piece, within the time."""
        if not select.select([self.answers], [], [], seconds)[0]:
            return []
        told = self._frames.feed(os.read(self.answers.fileno(), 1 << 20))
        return [value for value in told if isinstance(value, KernelEvent)]

    def status(self, key: str) -> int:
        text = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        [value] = [line.split()[1] for line in text.splitlines() if line.startswith(f"{key}:")]
        return int(value)

    def end(self) -> tuple[int, str]:
        """Close its input: exit status and what it complained of."""
        _, errors = self.process.communicate(timeout=10)
        return self.process.returncode, errors.decode()


@pytest.fixture
def process() -> Iterator[Process]:
    started = Process()
    yield started
    started.process.kill()
    started.process.communicate()


def switch() -> Path:
    """A file that makes the kernel send an event and does nothing else."""
    found = sorted(Path("/sys/class/block").glob("loop*/uevent"))
    if not found or not os.access(found[0], os.W_OK):
        pytest.skip("no loop device here whose event may be asked for")
    return found[0]


def test_each_request_has_one_answer_and_the_end_of_requests_ends_it(process: Process) -> None:
    process.ask("host", "host")
    names = [[device.name for device in process.host().devices] for _ in range(2)]
    assert names[0] == names[1]
    assert process.end() == (0, "")


def test_it_tells_no_events_unless_asked_to_watch(process: Process) -> None:
    process.ask("host")
    process.host()
    switch().write_text("change", encoding="ascii")
    assert process.events(0.3) == []


def test_a_burst_is_told_at_once_and_each_event_in_it_once(process: Process) -> None:
    process.ask("watch", "host")
    process.host()
    told_by = switch()
    began = time.monotonic()
    for _ in range(5):
        told_by.write_text("change", encoding="ascii")
    told = process.events(5)
    seconds = time.monotonic() - began
    changed = KernelEvent(kind=EventKind.BLOCK, subject=told_by.parent.name, action="change")
    assert told.count(changed) == 1
    assert seconds < 0.5  # 0.02 s and a loaded machine's delays
    process.ask("host")  # and it still answers
    process.host()


def test_an_unknown_request_ends_it_with_the_reason(process: Process) -> None:
    process.ask("hots")
    status, complaint = process.end()
    assert status == 1
    assert "no such request: b'hots'" in complaint


def test_at_rest_it_never_wakes(process: Process) -> None:
    """Its count of voluntary switches (proc(5)) stands still. Another program here may cause
    events: one quiet second of ten is proof enough."""
    process.ask("watch", "host")
    process.host()
    for _ in range(10):
        before = process.status("voluntary_ctxt_switches")
        time.sleep(1)
        if process.status("voluntary_ctxt_switches") == before:
            return
    pytest.fail("it woke in each of ten seconds")


def test_its_memory_is_small_and_does_not_grow_with_readings(process: Process) -> None:
    process.ask("watch")
    sizes = []
    for _ in range(3):
        for _ in range(20):
            process.ask("host")
            process.host()
        sizes.append(process.status("VmRSS"))
    assert max(sizes) < MOST_RESIDENT_KIB
    assert sizes[2] - sizes[1] < 256


STARTER = """
import subprocess, sys
child = subprocess.Popen(sys.argv[1:], stdin=0, stdout=subprocess.PIPE)
child.stdout.read(1)  # it has begun to watch
print(child.pid, flush=True)
child.wait()
"""


def test_a_watching_process_does_not_outlive_its_parent() -> None:
    """Even if its input stays open, as here, where this test holds the other end of it."""
    reading, writing = os.pipe()
    os.write(writing, b"watch\nhost\n")
    parent = subprocess.Popen(
        [sys.executable, "-c", STARTER, *COMMAND], stdin=reading, stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    pid = int(parent.stdout.readline())
    ended = os.pidfd_open(pid)
    os.kill(parent.pid, signal.SIGKILL)
    assert select.select([ended], [], [], 5)[0], "it lives on"
    parent.communicate()
    for descriptor in (reading, writing, ended):
        os.close(descriptor)


def test_where_the_kernel_s_events_are_refused_that_is_told_and_it_serves_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A sandbox without AF_NETLINK answers EAFNOSUPPORT."""

    def refuse() -> None:
        raise OSError(97, "Address family not supported by protocol")

    monkeypatch.setattr("arraygauge.inventory.sentinel.open_uevents", refuse)
    monkeypatch.setattr("arraygauge.inventory.sentinel._die_with_parent", lambda: None)
    (requests, ask), (answers, answer) = os.pipe(), os.pipe()
    os.write(ask, b"watch\nhost\n")
    os.close(ask)
    Sentinel(requests, answer, Invented()).run()
    told = Frames().feed(os.read(answers, 1 << 16))
    why = "Address family not supported by protocol"
    assert told == [KernelEvent(kind=EventKind.REFUSED, subject="uevents", action=why), INVENTED]
    for descriptor in (requests, answers, answer):
        os.close(descriptor)


INVENTED = Host(
    name="invented",
    boot_id="",
    kernel="",
    taken_at_seconds=0.0,
    devices=(),
    arrays=(),
    links=(),
    problems=(),
)


class Invented(HostSource):
    """Stands for the running machine."""

    def read(self) -> Host:
        return INVENTED
