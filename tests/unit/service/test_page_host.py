"""A page elsewhere whose name resolves to loopback gets nothing of this machine."""

from __future__ import annotations

import http.client
import threading
import time
from collections.abc import Iterator

import pytest

from arraygauge.config.model import RunSection
from arraygauge.probe.stop import StopToken
from arraygauge.service.door import Door
from arraygauge.service.http import Serving, application
from arraygauge.service.page_host import is_own_name
from arraygauge.service.parts import Pulse
from arraygauge.tell.metrics import StatusCollector


@pytest.mark.parametrize(
    "header",
    ["127.0.0.1", "127.0.0.1:9847", "127.8.0.1:1", "localhost:9847", "LOCALHOST", "[::1]:9847"],
)
def test_loopback_is_called_by_its_names(header: str) -> None:
    assert is_own_name(header, "127.0.0.1")


@pytest.mark.parametrize(
    "header",
    [
        "",
        "invented.example",
        "invented.example:9847",
        "127.0.0.1.invented.example",
        "localhost.invented.example",
        "192.0.2.1",
        "[2001:db8::1]",
        "[",
        "127.0.0.1@invented.example",
    ],
)
def test_any_other_name_is_not_ours(header: str) -> None:
    assert not is_own_name(header, "127.0.0.1")


def test_the_address_that_is_listened_on_is_ours_too() -> None:
    assert is_own_name("edit1.example:9847", "edit1.example")
    assert is_own_name("[2001:db8::1]:9847", "2001:db8::1")


@pytest.fixture
def address() -> Iterator[str]:
    stop = StopToken()
    answer = application(StatusCollector(), lambda: '{"invented": true}')
    serving = Serving(RunSection(listen_port=0), answer, stop, Door(None))
    pulse = Pulse("http", lambda: None, time.monotonic)
    thread = threading.Thread(target=serving.run, args=(pulse,))
    thread.start()
    yield serving.address
    stop.set()
    thread.join(5)


@pytest.mark.parametrize("path", ["/", "/metrics", "/incidents.json"])
def test_whoever_names_another_machine_is_misdirected(address: str, path: str) -> None:
    """RFC 9110: 421 for another's name, 400 without any."""
    assert asked(address, path, "invented.example") == (421, b"")
    assert asked(address, path, None) == (400, b"")
    status, body = asked(address, path, address)
    assert status == 200
    assert body


def asked(address: str, path: str, host: str | None) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection(address, timeout=5)
    connection.putrequest("GET", path, skip_host=True)
    if host is not None:
        connection.putheader("Host", host)
    connection.endheaders()
    with connection.getresponse() as answer:
        found = answer.status, answer.read()
    connection.close()
    return found
