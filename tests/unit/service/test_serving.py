"""The HTTP part: sleeps while nobody asks, moves, recovers, and is held up by nobody."""

from __future__ import annotations

import socket
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.config.model import RunSection
from arraygauge.errors import OperatorError
from arraygauge.probe.stop import StopToken
from arraygauge.service.door import Door
from arraygauge.service.http import Serving, application
from arraygauge.service.parts import Part, Parts
from arraygauge.tell.metrics import StatusCollector

ANYWHERE = RunSection(listen_port=0)


class Scene:
    def __init__(self) -> None:
        self.stop = StopToken()
        self.serving = Serving(
            ANYWHERE,
            application(StatusCollector(), lambda: '{"invented": true}'),
            self.stop,
            Door(None),
        )
        self.parts = Parts([Part(name="http", run=self.serving.run)], self.stop, lambda: None)
        self.parts.start()

    def get(self, path: str = "/metrics", address: str | None = None) -> str:
        url = f"http://{address or self.serving.address}{path}"
        with urllib.request.urlopen(url, timeout=5) as answer:
            return str(answer.read().decode())


@pytest.fixture
def scene() -> Iterator[Scene]:
    made = Scene()
    yield made
    made.stop.set()
    assert made.parts.end(2) == ()


def test_metrics_and_incidents_are_answered(scene: Scene) -> None:
    assert "arraygauge_build_info" in scene.get()
    assert scene.get("/incidents.json") == '{"invented": true}'


def test_it_sleeps_while_nobody_asks(scene: Scene) -> None:
    """By the kernel's count of the thread's switches: proc_pid_status(5)."""
    scene.get()
    time.sleep(0.2)
    [thread] = [each for each in threading.enumerate() if each.name == "http"]
    status = Path(f"/proc/self/task/{thread.native_id}/status")

    def switches() -> int:
        lines = status.read_text().splitlines()
        return sum(int(line.split()[1]) for line in lines if "ctxt_switches" in line)

    before = switches()
    time.sleep(1.5)
    assert switches() - before <= 1


def test_one_who_connects_and_says_nothing_holds_up_nobody(scene: Scene) -> None:
    host, port = scene.serving.address.split(":")
    with socket.create_connection((host, int(port))), socket.create_connection((host, int(port))):
        began = time.monotonic()
        assert "arraygauge_build_info" in scene.get()
        assert time.monotonic() - began < 1


def test_it_moves_and_keeps_its_address_where_the_new_one_cannot_be_had(scene: Scene) -> None:
    before = scene.serving.address
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(OperatorError, match=f"cannot serve on 127.0.0.1:{port}"):
            scene.serving.move(RunSection(listen_port=port))
        assert scene.serving.address == before
        assert "arraygauge_build_info" in scene.get()
    scene.serving.move(RunSection(listen_port=port))
    assert scene.serving.address == f"127.0.0.1:{port}"
    assert "arraygauge_build_info" in scene.get()
    deadline = time.monotonic() + 5
    while True:
        try:
            scene.get(address=before)
        except OSError:
            break
        assert time.monotonic() < deadline, "the old address is closed"
        time.sleep(0.02)


def test_after_a_failure_it_is_bound_anew(
    scene: Scene, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(100)

    def refused(server: object) -> None:
        raise OSError(24, "Too many open files")

    monkeypatch.setattr("arraygauge.service.http._serve_one", refused)
    with pytest.raises(OSError, match=r"reset|closed|timed out|refused"):
        scene.get()
    monkeypatch.undo()
    deadline = time.monotonic() + 10
    while True:
        try:
            address = scene.serving.address
            if "arraygauge_build_info" in scene.get(address=address):
                break
        except OSError:
            assert time.monotonic() < deadline
            time.sleep(0.05)
    assert not scene.parts.troubles
