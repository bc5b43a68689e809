"""What the agent serves on its address: the page, metrics and incidents, for reading only.

Each request has a thread of its own while it is answered, which bounds what a stranger can take
(``MOST_AT_ONCE``, ``REQUEST_SECONDS``) before and after TLS; open pages have none (``Followers``).
"""

from __future__ import annotations

import logging
import socket
import sys
import threading
from collections.abc import Callable, Iterable
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from arraygauge.config.model import RunSection
from arraygauge.errors import OperatorError
from arraygauge.probe.stop import StopToken
from arraygauge.service.bell import Bell, wait_for
from arraygauge.service.door import Door
from arraygauge.service.page_events import RETRY, Followers
from arraygauge.service.parts import Pulse
from arraygauge.tell.metrics import Exposition, StatusCollector

_log = logging.getLogger(__name__)

BUSY_SECONDS = 30.0
"""Longer than beginning to answer a request can take."""
REQUEST_SECONDS = 30.0
"""Whoever asks, or takes the answer, more slowly is left."""


MOST_AT_ONCE = 32
"""Requests that are answered at a time: strangers who only knock must not take the threads and
descriptors that probing and telling need."""
FOLLOW = "arraygauge.follow"
"""In a request's environment, what an answer calls that is to be followed by events."""


class _Server(ThreadingMixIn, WSGIServer):
    """A thread for each request, none of which holds up the end."""

    daemon_threads = True
    request_queue_size = 64
    door: Door
    followers: Followers | None
    _room = threading.BoundedSemaphore(MOST_AT_ONCE)

    def process_request(self, request: Any, client_address: Any) -> None:
        """Who comes when there is no room is turned away, before anything was said."""
        if not self._room.acquire(blocking=False):
            self.shutdown_request(request)
            return
        try:
            super().process_request(request, client_address)
        except BaseException:
            self._room.release()
            raise

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._room.release()

    def finish_request(self, request: Any, client_address: Any) -> None:
        """In the request's own thread, so that who is slow to agree on TLS holds up nobody."""
        request.settimeout(REQUEST_SECONDS)
        entered = self.door.enter(request)
        try:
            handler = _Quiet(entered, client_address, self)
        except BaseException:
            if entered is not request:
                entered.close()
            raise
        if handler.follows and self.followers is not None:
            # Under another object where it is the request's, which is closed after this.
            plain = entered is request
            self.followers.take(socket.socket(fileno=request.detach()) if plain else entered)
        elif entered is not request:
            entered.close()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Who speaks no TLS, or hangs up, is no news; anything else is a fault of ours."""
        if not isinstance(sys.exception(), OSError):
            _log.exception("a request failed")


class _Quiet(WSGIRequestHandler):
    timeout = REQUEST_SECONDS
    follows = False
    """Whether whoever asked is to be told more, now that the answer has begun."""

    def get_environ(self) -> dict[str, Any]:
        """With a way to say so."""
        return {**super().get_environ(), FOLLOW: self._follow}

    def _follow(self) -> None:
        self.follows = True

    def log_message(self, *_: object) -> None:
        """A scrape every few seconds is no news."""


def application(
    collector: StatusCollector,
    incidents: Callable[[], str],
    page: WSGIApplication | None = None,
    followers: Followers | None = None,
) -> WSGIApplication:
    """`/metrics`, `/incidents.json` by ``incidents``, `/events` for ``followers``; everything
    else is the ``page``, or metrics where there is none."""
    metrics = Exposition(collector)
    rest = page or metrics

    def answer(environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        path = environment["PATH_INFO"]
        if path == "/incidents.json":
            document = incidents().encode()
            start("200 OK", [("Content-Type", "application/json"), ("Cache-Control", "no-store")])
            return [document]
        if path == "/events" and followers is not None:
            return _begin_events(followers, environment, start)
        return (metrics if path == "/metrics" else rest)(environment, start)

    return answer


def _begin_events(
    followers: Followers, environment: WSGIEnvironment, start: StartResponse
) -> Iterable[bytes]:
    if environment["REQUEST_METHOD"] != "GET":
        start("405 Method Not Allowed", [("Allow", "GET"), ("Content-Length", "0")])
        return []
    if not followers.has_room:
        start("503 Service Unavailable", [("Retry-After", "60"), ("Content-Length", "0")])
        return []
    environment[FOLLOW]()
    start("200 OK", [("Content-Type", "text/event-stream"), ("Cache-Control", "no-store")])
    return iter((RETRY,))


class Serving:
    """A part of the daemon: answers over HTTP at one address, which may change."""

    def __init__(
        self,
        section: RunSection,
        answer: WSGIApplication,
        stop: StopToken,
        door: Door,
        followers: Followers | None = None,
    ) -> None:
        """Raises OperatorError where the address cannot be had."""
        self._answer = answer
        self._door = door
        self._followers = followers
        self._stop = stop
        self._bell = Bell()
        self._section = section
        self._server: _Server | None = self._bound(section)
        self._retired: list[_Server] = []

    @property
    def address(self) -> str:
        """As bound: with the port's number where any was asked for."""
        port = self._server.server_port if self._server else self._section.listen_port
        return f"{self._section.listen_address}:{port}"

    def move(self, section: RunSection) -> None:
        """To another address, if it is another; where that cannot be had the present one is
        kept, and OperatorError raised."""
        if _where(section) == _where(self._section):
            return
        moved = self._bound(section)
        if self._server is not None:
            self._retired.append(self._server)  # for the thread that waits on it to close
        self._server, self._section = moved, section
        self._bell.ring()

    def run(self, pulse: Pulse) -> None:
        """Until told to stop. After a failure the address is bound anew."""
        try:
            while not self._stop.is_set():
                server = self._server = self._server or self._bound(self._section)
                pulse.well()
                pulse.rest()
                wait_for((self._stop, self._bell, server), None)
                pulse.busy(BUSY_SECONDS)
                if self._bell.answer():
                    self._close_retired()
                elif not self._stop.is_set():
                    _serve_one(server)
        finally:
            if self._server is not None:
                self._retired.append(self._server)
            self._server = None
            self._close_retired()

    def _close_retired(self) -> None:
        while self._retired:
            self._retired.pop().server_close()

    def _bound(self, section: RunSection) -> _Server:
        try:
            server = make_server(
                section.listen_address,
                section.listen_port,
                self._door.guard(self._answer, section.listen_address),
                server_class=_Server,
                handler_class=_Quiet,
            )
        except OSError as error:
            raise OperatorError(
                f"cannot serve on {section.listen_address}:{section.listen_port}: {error.strerror}",
                "stop what uses it, or choose another with run.listen_address and "
                "run.listen_port in the configuration",
            ) from error
        server.door = self._door
        server.followers = self._followers
        server.socket.setblocking(False)  # who knocked may be gone by the time we open
        return server


def _where(section: RunSection) -> tuple[str, int]:
    return section.listen_address, section.listen_port


def _serve_one(server: _Server) -> None:
    """Raises OSError when no connection can be taken, for want of descriptors for instance."""
    try:
        request, client = server.get_request()
    except (BlockingIOError, ConnectionAbortedError):
        return
    request.setblocking(True)
    server.process_request(request, client)
