"""The text of a scrape, made once for each change however many scrape it."""

from __future__ import annotations

import gzip
from collections.abc import Iterable
from wsgiref.types import StartResponse, WSGIEnvironment

from arraygauge.tell.metrics.collector import StatusCollector
from arraygauge.tell.metrics.families import openmetrics, plain

OPENMETRICS_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
PLAIN_TYPE = "text/plain; version=0.0.4; charset=utf-8"
COMPRESSION = 4
"""zlib's scale: two thirds of the time of its usual 6, for a few per cent more bytes."""


class Exposition:
    """A WSGI application. What it made is kept by format until the collector's next version;
    nothing in it depends on the time of the scrape. Threads that find nothing kept make it
    each for itself, which costs time and harms nothing."""

    def __init__(self, collector: StatusCollector) -> None:
        self._collector = collector
        self._made: tuple[object, dict[tuple[str, bool], bytes]] = (None, {})

    def __call__(self, environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        if environment["REQUEST_METHOD"] != "GET":
            start("405 Method Not Allowed", [("Allow", "GET"), ("Content-Length", "0")])
            return []
        zipped = "gzip" in environment.get("HTTP_ACCEPT_ENCODING", "")
        content_type, body = self.body(environment.get("HTTP_ACCEPT", ""), zipped=zipped)
        headers = [("Content-Type", content_type), ("Content-Length", str(len(body)))]
        if zipped:
            headers.append(("Content-Encoding", "gzip"))
        start("200 OK", headers)
        return [body]

    def body(self, accept: str, *, zipped: bool) -> tuple[str, bytes]:
        """Content type and text, by the scraper's Accept header."""
        openly = "application/openmetrics-text" in accept
        content_type = OPENMETRICS_TYPE if openly else PLAIN_TYPE
        version = self._collector.version
        if self._made[0] is not version:
            self._made = (version, {})
        made = self._made[1]
        if (content_type, False) not in made:
            encode = openmetrics if openly else plain
            made[content_type, False] = encode(self._collector.families())
        if zipped and (content_type, True) not in made:
            text = made[content_type, False]
            made[content_type, True] = gzip.compress(text, COMPRESSION, mtime=0)
        return content_type, made[content_type, zipped]
