"""What the agent serves on its address: metrics and incidents, for reading only."""

from __future__ import annotations

import logging
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


class _Server(ThreadingMixIn, WSGIServer):
    """A thread for each request, none of which holds up the end."""

    daemon_threads = True
    request_queue_size = 64
    door: Door
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
            super().finish_request(entered, client_address)
        finally:
            if entered is not request:
                entered.close()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Who speaks no TLS, or hangs up, is no news; anything else is a fault of ours."""
        if not isinstance(sys.exception(), OSError):
            _log.exception("a request failed")


class _Quiet(WSGIRequestHandler):
    timeout = REQUEST_SECONDS

    def log_message(self, *_: object) -> None:
        """A scrape every few seconds is no news."""


def application(collector: StatusCollector, incidents: Callable[[], str]) -> WSGIApplication:
    """`/incidents.json` by ``incidents``; everything else is metrics."""
    metrics = Exposition(collector)

    def answer(environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        if environment["PATH_INFO"] != "/incidents.json":
            return metrics(environment, start)
        document = incidents().encode()
        start("200 OK", [("Content-Type", "application/json"), ("Cache-Control", "no-store")])
        return [document]

    return answer


class Serving:
    """A part of the daemon: answers over HTTP at one address, which may change."""

    def __init__(
        self, section: RunSection, answer: WSGIApplication, stop: StopToken, door: Door
    ) -> None:
        """Raises OperatorError where the address cannot be had."""
        self._answer = door.guard(answer)
        self._door = door
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
                self._answer,
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
