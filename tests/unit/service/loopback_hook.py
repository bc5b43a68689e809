"""A real HTTP server on loopback that takes messages, or does what a bad one does."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

Answer = Callable[["Handler"], None]


def fine(handler: Handler) -> None:
    handler.answer(204)


def failing(handler: Handler) -> None:
    handler.answer(503)


def asking_for_time(handler: Handler) -> None:
    handler.answer(429, {"Retry-After": "7"})


def elsewhere(handler: Handler) -> None:
    handler.answer(302, {"Location": f"http://127.0.0.1:{handler.server.server_port}/other"})


def closing(handler: Handler) -> None:
    handler.connection.shutdown(socket.SHUT_RDWR)


def silent(handler: Handler) -> None:
    handler.hook.released.wait(20)
    handler.close_connection = True


def dripping(handler: Handler) -> None:
    """One byte of an endless header after another: each is an answer, none is the whole."""
    try:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        while not handler.hook.released.wait(0.05):
            handler.wfile.write(b"x")
    except OSError:
        handler.close_connection = True


@dataclass
class Hook:
    """``answers`` are used in order, the last one for all that follow; ``received`` holds what
    arrived, with the time it did; ``accepted`` what was answered well."""

    port: int = 0
    answers: list[Answer] = field(default_factory=lambda: [fine])
    received: list[dict[str, Any]] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)
    accepted: list[dict[str, Any]] = field(default_factory=list)
    released: threading.Event = field(default_factory=threading.Event)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hook?key=hidden"

    def wait_for(self, count: int, seconds: float = 10.0) -> None:
        deadline = time.monotonic() + seconds
        while len(self.accepted) < count:
            assert time.monotonic() < deadline, f"only {len(self.accepted)} of {count} arrived"
            time.sleep(0.005)


class Handler(BaseHTTPRequestHandler):
    hook: Hook
    server: ThreadingHTTPServer

    def do_POST(self) -> None:
        message = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        hook = self.hook
        hook.received.append(message)
        hook.times.append(time.monotonic())
        hook.headers.append(dict(self.headers))
        answer = hook.answers.pop(0) if len(hook.answers) > 1 else hook.answers[0]
        if answer is fine:
            hook.accepted.append(message)
        answer(self)

    def answer(self, status: int, headers: dict[str, str] | None = None) -> None:
        self.send_response(status)
        for name, value in (headers or {}).items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Nobody reads it."""


@contextmanager
def hooked(*answers: Answer) -> Iterator[Hook]:
    hook = Hook(answers=list(answers or (fine,)))
    bound = type("BoundHandler", (Handler,), {"hook": hook})
    with ThreadingHTTPServer(("127.0.0.1", 0), bound) as server:
        server.daemon_threads = True
        hook.port = server.server_port
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield hook
        finally:
            hook.released.set()
            server.shutdown()
            thread.join()
