"""Open pages are told of news, cost no thread, and are forgotten once they are closed."""

from __future__ import annotations

import base64
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from arraygauge.config.model import RunSection
from arraygauge.probe.stop import StopToken
from arraygauge.service import page_events
from arraygauge.service.door import Door
from arraygauge.service.http import MOST_AT_ONCE, Serving, application
from arraygauge.service.page_events import MOST_FOLLOWING, Followers
from arraygauge.service.parts import Part, Parts
from arraygauge.tell.metrics import StatusCollector
from unit.service.certificates import PASSWORD, USERNAME, exposure, make_secrets

ASK = b"GET /events HTTP/1.1\r\nHost: 127.0.0.1\r\n%s\r\n"


class Scene:
    """``revision`` is what a test sets."""

    def __init__(self, door: Door) -> None:
        self.stop, self.revision = StopToken(), 1
        self.followers = Followers(lambda: self.revision, self.stop)
        answer = application(StatusCollector(), lambda: "{}", None, self.followers)
        self.serving = Serving(RunSection(listen_port=0), answer, self.stop, door, self.followers)
        self.parts = Parts(
            [
                Part(name="http", run=self.serving.run),
                Part(name="open pages", run=self.followers.run),
            ],
            self.stop,
            lambda: None,
        )
        self.parts.start()

    def connect(self) -> socket.socket:
        host, _, port = self.serving.address.partition(":")
        return socket.create_connection((host, int(port)), 5)

    def follow(self) -> socket.socket:
        connection = self.connect()
        connection.sendall(ASK % b"")
        assert connection.recv(13) == b"HTTP/1.0 200 "
        return connection


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Iterator[Scene]:
    monkeypatch.setattr(page_events, "LOOK_SECONDS", 0.05)
    made = Scene(Door(None))
    yield made
    made.stop.set()
    assert made.parts.end(2) == ()


def read_until(connection: socket.socket, words: bytes) -> bytes:
    read = b""
    while words not in read:
        more = connection.recv(4096)
        assert more, f"closed after {read!r}"
        read += more
    return read


def wait(condition: Callable[[], bool], seconds: float = 5.0) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_a_page_is_told_what_is_and_then_what_changes(scene: Scene) -> None:
    with scene.follow() as page:
        read_until(page, b"data: 1\n\n")
        scene.revision = 2
        read_until(page, b"data: 2\n\n")


def test_it_is_an_event_stream_that_nobody_keeps(scene: Scene) -> None:
    """https://html.spec.whatwg.org/multipage/server-sent-events.html: the content type."""
    with scene.connect() as page:
        page.sendall(ASK % b"")
        head = read_until(page, b"\r\n\r\n").lower()
    assert head.startswith(b"http/1.0 200")
    assert b"content-type: text/event-stream\r\n" in head
    assert b"cache-control: no-store\r\n" in head
    assert b"content-length" not in head


def test_fifty_open_pages_hold_no_thread_and_keep_nobody_out(scene: Scene) -> None:
    before = threading.active_count()
    with ExitStack() as opened:
        for _ in range(50):
            opened.enter_context(scene.follow())
        assert MOST_AT_ONCE < 50
        wait(lambda: scene.followers.count == 50)
        wait(lambda: threading.active_count() <= before)
        with scene.connect() as other:
            other.sendall(b"GET /metrics HTTP/1.0\r\nHost: localhost\r\n\r\n")
            assert other.recv(15).startswith(b"HTTP/1.0 200")


def test_a_closed_page_is_forgotten(scene: Scene) -> None:
    with scene.follow() as page:
        read_until(page, b"data: 1\n\n")
        assert scene.followers.count == 1
    scene.revision = 2
    wait(lambda: scene.followers.count == 0)


def test_more_than_there_is_room_for_are_told_to_look_themselves(scene: Scene) -> None:
    with ExitStack() as opened:
        for _ in range(MOST_FOLLOWING):
            opened.enter_context(scene.follow())
        wait(lambda: scene.followers.count == MOST_FOLLOWING)
        with scene.connect() as late:
            late.sendall(ASK % b"")
            assert late.recv(100).startswith(b"HTTP/1.0 503")
    with scene.follow() as page:
        read_until(page, b"data: 1\n\n")


def test_the_end_of_the_agent_is_the_end_of_the_stream(scene: Scene) -> None:
    with scene.follow() as page:
        read_until(page, b"data: 1\n\n")
        scene.stop.set()
        assert page.recv(100) == b""


def test_over_tls_it_takes_the_password(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_events, "LOOK_SECONDS", 0.05)
    make_secrets(tmp_path)
    scene = Scene(Door(exposure(tmp_path)))
    context = ssl.create_default_context(cafile=str(tmp_path / "cert.pem"))
    try:
        for known in (False, True):
            with (
                scene.connect() as plain,
                context.wrap_socket(plain, server_hostname="127.0.0.1") as page,
            ):
                page.sendall(ASK % (authorization() if known else b""))
                if known:
                    read_until(page, b"data: 1\n\n")
                    scene.revision = 2
                    read_until(page, b"data: 2\n\n")
                else:
                    assert page.recv(100).startswith(b"HTTP/1.0 401")
    finally:
        scene.stop.set()
        assert scene.parts.end(2) == ()


def authorization() -> bytes:
    given = base64.b64encode(f"{USERNAME}:{PASSWORD}".encode())
    return b"Authorization: Basic " + given + b"\r\n"
