"""Serves the page of an invented machine that means harm: markup in every name, 200 members,
10,000 incidents. Prints its address; ends with its standard input."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterable
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server
from wsgiref.types import StartResponse, WSGIEnvironment

from arraygauge.history import HistoryError, HistoryProblem, history_without_file
from arraygauge.inventory.values import Array
from arraygauge.service.page import Page
from arraygauge.service.page_known import PageKnowledge
from arraygauge.tell.page.inputs import Known, Past
from unit.tell.page_scene import hostile_known, past

MEMBERS, INCIDENTS = 200, 10_000


class HostileKnowledge(PageKnowledge):
    """What the real one would know of such a machine."""

    def __init__(self) -> None:
        error = HistoryError(HistoryProblem.DENIED, "in memory", "nothing to be done")
        super().__init__("invented", history_without_file(error))
        self._given = hostile_known(MEMBERS, INCIDENTS)

    def revision(self) -> int:
        return 1

    def known(self) -> Known:
        return self._given

    def past(self, array: Array, period: str, seconds: float) -> Past:
        return past(period=period, incidents=self._given.incidents)


class Server(ThreadingMixIn, WSGIServer):
    """The browser opens several connections at once."""

    daemon_threads = True


class Silent(WSGIRequestHandler):
    """Standard error is for what goes wrong."""

    def log_message(self, *_: Any) -> None:
        return


def main() -> None:
    page = Page(HostileKnowledge())

    def answer(environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        if environment["PATH_INFO"] == "/events":
            start("204 No Content", [])  # the end of it: nothing new will happen
            return []
        return page(environment, start)

    with make_server("127.0.0.1", 0, answer, Server, Silent) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        print(f"http://127.0.0.1:{server.server_port}", flush=True)
        sys.stdin.read()
        server.shutdown()


if __name__ == "__main__":
    main()
