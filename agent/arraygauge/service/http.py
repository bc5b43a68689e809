"""What the agent serves on its address: metrics and incidents, for reading only."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from socketserver import ThreadingMixIn
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from prometheus_client import CollectorRegistry, make_wsgi_app

from arraygauge.config.model import RunSection
from arraygauge.errors import OperatorError
from arraygauge.tell.metrics import StatusCollector

_JOIN_SECONDS = 1.0


class _Server(ThreadingMixIn, WSGIServer):
    """A thread for each request, none of which holds up the end."""

    daemon_threads = True


class _Quiet(WSGIRequestHandler):
    def log_message(self, *_: object) -> None:
        """A scrape every few seconds is no news."""


def application(collector: StatusCollector, incidents: Callable[[], str]) -> WSGIApplication:
    """`/incidents.json` by ``incidents``; everything else is metrics."""
    registry = CollectorRegistry()
    registry.register(collector)
    metrics = make_wsgi_app(registry)

    def answer(environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        if environment["PATH_INFO"] != "/incidents.json":
            scraped: Iterable[bytes] = metrics(environment, start)
            return scraped
        document = incidents().encode()
        start("200 OK", [("Content-Type", "application/json"), ("Cache-Control", "no-store")])
        return [document]

    return answer


@contextmanager
def serving(section: RunSection, answer: WSGIApplication) -> Iterator[str]:
    """Over HTTP at the configured address; yields the address as bound."""
    try:
        server = make_server(
            section.listen_address,
            section.listen_port,
            answer,
            server_class=_Server,
            handler_class=_Quiet,
        )
    except OSError as error:
        raise OperatorError(
            f"cannot serve on {section.listen_address}:{section.listen_port}: {error.strerror}",
            "stop what uses it, or choose another with run.listen_address and run.listen_port "
            "in the configuration",
        ) from error
    thread = threading.Thread(target=server.serve_forever, args=(0.1,), daemon=True)
    thread.start()
    try:
        yield f"{section.listen_address}:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join(_JOIN_SECONDS)
