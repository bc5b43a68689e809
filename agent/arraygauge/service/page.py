"""The agent's own page, for reading only: answers are made once for each change, however many
look."""

from __future__ import annotations

import gzip
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import lru_cache
from urllib.parse import parse_qs
from wsgiref.types import StartResponse, WSGIEnvironment

from arraygauge.errors import OperatorError
from arraygauge.service.page_known import PageKnowledge
from arraygauge.tell.page.array_page import PERIODS, USUAL_PERIOD, array_page
from arraygauge.tell.page.inputs import Known
from arraygauge.tell.page.overview import heading, overview
from arraygauge.tell.page.render import (
    Missing,
    page_html,
    static_files,
    static_prefix,
    style_source,
)
from arraygauge.values import frozen

POLICY = (
    f"default-src 'none'; style-src {style_source()}; script-src 'self'; img-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""https://www.w3.org/TR/CSP3/: nothing but what comes from here, and nothing inline but the
one style sheet that has this digest."""
HEADERS = (
    ("Content-Security-Policy", POLICY),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
)
FRESH_SECONDS = 60.0
"""An answer is made anew after that even if nothing changed: time goes on in its pictures."""
MOST_KEPT = 64
"""Answers that are kept at a time."""
COMPRESSION = 4
"""zlib's scale, as for metrics."""
_FOR_EVER = "private, max-age=31536000, immutable"


@frozen
class Answer:
    """What is sent."""

    status: str
    content_type: str
    body: bytes
    cache_control: str = "no-cache"


@frozen
class _Kept:
    revision: int
    made_at: float
    answer: Answer


class Page:
    """A WSGI application. One answer is made at a time, so that many who come at once wait for
    the first one's rather than each make theirs."""

    def __init__(
        self, knowledge: PageKnowledge, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._knowledge = knowledge
        self._clock = clock
        self._lock = threading.Lock()
        self._kept: dict[tuple[str, str, bool], _Kept] = {}

    def __call__(self, environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        method = environment["REQUEST_METHOD"]
        if method not in ("GET", "HEAD"):
            start("405 Method Not Allowed", [("Allow", "GET, HEAD"), ("Content-Length", "0")])
            return []
        path = environment["PATH_INFO"].encode("latin-1").decode("utf-8", "replace")
        period = _period(environment.get("QUERY_STRING", ""))
        zipped = "gzip" in environment.get("HTTP_ACCEPT_ENCODING", "")
        answer = self.answer(path, period, zipped=zipped)
        headers = [
            ("Content-Type", answer.content_type),
            ("Content-Length", str(len(answer.body))),
            ("Cache-Control", answer.cache_control),
            ("Vary", "Accept-Encoding"),
            *HEADERS,
        ]
        if zipped:
            headers.append(("Content-Encoding", "gzip"))
        start(answer.status, headers)
        return [answer.body] if method == "GET" else []

    def answer(self, path: str, period: str, *, zipped: bool) -> Answer:
        """What is shown at a path; compressed where that is asked for."""
        if (file := _static(path, zipped=zipped)) is not None:
            return file
        key = (path, period, zipped)
        with self._lock:
            revision, now = self._knowledge.revision(), self._clock()
            kept = self._kept.get(key)
            if kept and kept.revision == revision and now - kept.made_at < FRESH_SECONDS:
                return kept.answer
            made = self._made(path, period)
            made = _zipped(made) if zipped else made
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[key] = _Kept(revision=revision, made_at=now, answer=made)
            return made

    def _made(self, path: str, period: str) -> Answer:
        known = self._knowledge.known()
        if path == "/":
            return _html("200 OK", page_html(overview(known)))
        name = path.removeprefix("/array/")
        if name != path and (answer := self._array(known, name, period)) is not None:
            return answer
        words = "There is no such page, or no such array any more."
        return _html("404 Not Found", page_html(Missing(heading=heading(known), words=words)))

    def _array(self, known: Known, name: str, period: str) -> Answer | None:
        array = next((each for each in known.arrays if each.name == name), None)
        if array is None:
            return None
        try:
            past = self._knowledge.past(array, period, PERIODS[period])
        except OperatorError as error:
            words = f"{error.message}; {error.remedy}"
            known = replace(known, troubles=tuple(dict.fromkeys((*known.troubles, words))))
            past = self._knowledge.nothing_past(period, PERIODS[period])
        return _html("200 OK", page_html(array_page(known, array, past)))


@lru_cache(maxsize=32)
def _static(path: str, *, zipped: bool) -> Answer | None:
    """One of the files a page needs, which never change while the agent runs."""
    prefix, _, name = path.rpartition("/")
    file = static_files().get(name) if prefix == static_prefix() else None
    if file is None:
        return None
    answer = Answer(
        status="200 OK",
        content_type=file.content_type,
        body=file.body,
        cache_control=_FOR_EVER,
    )
    return _zipped(answer) if zipped else answer


def _zipped(answer: Answer) -> Answer:
    return replace(answer, body=gzip.compress(answer.body, COMPRESSION, mtime=0))


def _html(status: str, body: bytes) -> Answer:
    return Answer(status=status, content_type="text/html; charset=utf-8", body=body)


def _period(query: str) -> str:
    """One that is known, whatever is asked for."""
    asked = parse_qs(query).get("period", [USUAL_PERIOD])[0]
    return asked if asked in PERIODS else USUAL_PERIOD
