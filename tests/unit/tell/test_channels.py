"""The channels: the journal's protocol, the webhook's caution, the library that may be absent."""

from __future__ import annotations

import io
import socket
import ssl
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from arraygauge.judge.findings import Severity
from arraygauge.tell import notify
from arraygauge.tell.incident_json import message_document
from arraygauge.tell.incident_words import IncidentWords
from arraygauge.tell.journal import Journal, datagram_of
from arraygauge.tell.notify import Notify
from arraygauge.tell.sender import SendingError
from arraygauge.tell.webhook import Webhook
from unit.service.loopback_hook import (
    asking_for_time,
    closing,
    dripping,
    elsewhere,
    failing,
    hooked,
    silent,
)

WORDS = IncidentWords(
    headline="md0: no redundancy left",
    seen="Seen.",
    reason="A reason.",
    meaning="A meaning.",
    steps=("a step",),
    cautions=(),
)


def message(**changes: Any) -> dict[str, Any]:
    plain = message_document("invented", 0.0, Severity.CRITICAL, WORDS)
    return {**plain, "test": False, "number": 7, "arrays": ["md0", "md1"], **changes}


def parse_datagram(content: bytes) -> dict[str, str]:
    """What a journal reads: https://systemd.io/JOURNAL_NATIVE_PROTOCOL/ (from memory)."""
    fields = {}
    stream = io.BytesIO(content)
    while line := stream.readline():
        assert line.endswith(b"\n")
        name, equals, value = line[:-1].partition(b"=")
        if not equals:
            size = int.from_bytes(stream.read(8), "little")
            value = stream.read(size)
            assert stream.read(1) == b"\n"
        fields[name.decode()] = value.decode()
    return fields


def test_the_journal_gets_fields_by_its_protocol(tmp_path: Path) -> None:
    path = str(tmp_path / "socket")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as journal:
        journal.bind(path)
        Journal(path=path).send(message())
        fields = parse_datagram(journal.recv(65536))
    assert fields["MESSAGE"] == "md0: no redundancy left. A reason. [incident 7]"
    assert fields["PRIORITY"] == "2"
    assert fields["ARRAYGAUGE_ARRAYS"] == "md0 md1"
    assert fields["ARRAYGAUGE_TEXT"].count("\n") > 4
    assert all(name == name.upper() for name in fields)


def test_a_value_that_looks_like_fields_stays_a_value() -> None:
    fields = {"MESSAGE": "a\nPRIORITY=0\n", "OTHER": "b=c"}
    assert parse_datagram(datagram_of(fields)) == fields


@pytest.mark.parametrize(
    ("changes", "priority"),
    [
        ({}, 2),
        ({"severity": "major"}, 3),
        ({"severity": "minor"}, 4),
        ({"severity": "information"}, 6),
        ({"closed_at_seconds": 9.0}, 5),
        ({"test": True}, 5),
    ],
)
def test_without_a_journal_a_line_goes_to_standard_error(
    tmp_path: Path, changes: dict[str, Any], priority: int
) -> None:
    stream = io.StringIO()
    Journal(path=str(tmp_path / "none"), stream=stream).send(message(**changes))
    [line] = stream.getvalue().splitlines()
    assert line.startswith(f"<{priority}>md0: no redundancy left.")


def test_with_neither_it_says_so(tmp_path: Path) -> None:
    stream = io.StringIO()
    stream.close()
    with pytest.raises(SendingError, match="neither"):
        Journal(path=str(tmp_path / "none"), stream=stream).send(message())


def test_a_webhook_gets_json_and_its_secret(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("  invented-token\n")
    with hooked() as hook:
        Webhook(name="w", url=hook.url, secret_file=str(secret)).send(message())
    assert hook.received == [message()]
    assert hook.headers[0]["Authorization"] == "Bearer invented-token"
    assert hook.headers[0]["Content-Type"] == "application/json"


def test_a_secret_may_be_a_credential_of_the_unit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "hook").write_text("invented-token")
    with hooked() as hook:
        webhook = Webhook(
            name="w",
            url=hook.url,
            secret_credential="hook",
            secret_header="X-Key",
            secret_prefix="",
        )
        monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
        with pytest.raises(SendingError, match="LoadCredential"):
            webhook.send(message())
        monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
        webhook.send(message())
    assert hook.headers[0]["X-Key"] == "invented-token"


def test_without_its_secret_nothing_is_sent(tmp_path: Path) -> None:
    with hooked() as hook:
        webhook = Webhook(name="w", url=hook.url, secret_file=str(tmp_path / "none"))
        with pytest.raises(SendingError, match="none"):
            webhook.send(message())
    assert hook.received == []


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (failing, "status 503"),
        (elsewhere, "status 302"),
        (closing, "without response"),
        (silent, "no answer in time"),
        (dripping, "no answer in time"),
    ],
)
def test_a_bad_answer_is_an_error_in_bounded_time(answer: Any, why: str) -> None:
    with hooked(answer) as hook:
        began = time.monotonic()
        with pytest.raises(SendingError, match=why) as caught:
            Webhook(name="w", url=hook.url, timeout_seconds=0.6).send(message())
        assert time.monotonic() - began < 2.0
        assert "hidden" not in caught.value.why


def test_a_server_that_asks_for_time_gets_it() -> None:
    with hooked(asking_for_time) as hook, pytest.raises(SendingError) as caught:
        Webhook(name="w", url=hook.url).send(message())
    assert caught.value.wait_seconds == 7.0


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A key and a certificate for 'localhost' in one file, made for this test."""
    folder = tmp_path_factory.mktemp("tls")
    pem, key = folder / "pem", folder / "key"
    made = subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
            *("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"),
            *("-keyout", str(key), "-out", str(pem)),
        ],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("openssl is not here to make a certificate")
    pem.write_text(pem.read_text() + key.read_text())
    return pem


class Taking(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        self.send_response(200)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Nobody reads it."""


def test_tls_is_verified(certificate: Path) -> None:
    try:
        socket.gethostbyname("localhost")
    except socket.gaierror:
        pytest.skip("this machine does not know 'localhost'")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    with HTTPServer(("127.0.0.1", 0), Taking) as server:
        server.socket = context.wrap_socket(server.socket, server_side=True)
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            url = f"https://localhost:{server.server_port}/"
            Webhook(name="w", url=url, authority_file=str(certificate)).send(message())
            with pytest.raises(SendingError, match="certificate was not accepted"):
                Webhook(name="w", url=url).send(message())
            other = f"https://127.0.0.1:{server.server_port}/"
            with pytest.raises(SendingError, match="certificate was not accepted"):
                Webhook(name="w", url=other, authority_file=str(certificate)).send(message())
        finally:
            server.shutdown()
            thread.join()


def test_without_the_library_it_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "apprise", None)
    with pytest.raises(SendingError) as caught:
        Notify(name="mail", urls_file=str(tmp_path / "urls")).send(message())
    assert caught.value.why == notify.MISSING


@dataclass
class InventedLibrary:
    """The few names of the library that are used."""

    arrives: bool = True
    urls: list[str] = field(default_factory=list)
    sent: list[dict[str, str]] = field(default_factory=list)

    def add(self, url: str) -> bool:
        self.urls.append(url)
        return "nonsense" not in url

    def notify(self, **what: str) -> bool:
        self.sent.append(what)
        return self.arrives


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> InventedLibrary:
    made = InventedLibrary()
    module = ModuleType("apprise")
    module.Apprise = lambda: made  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "apprise", module)
    return made


def test_each_address_of_the_file_is_used(tmp_path: Path, library: InventedLibrary) -> None:
    urls = tmp_path / "urls"
    urls.write_text("# the office\nmailto://invented\n\n  json://invented \n")
    Notify(name="mail", urls_file=str(urls)).send(message())
    assert library.urls == ["mailto://invented", "json://invented"]
    [sent] = library.sent
    assert (sent["title"], sent["notify_type"]) == ("md0: no redundancy left", "failure")


def test_an_address_that_fails_or_is_not_understood_is_an_error_without_it(
    tmp_path: Path, library: InventedLibrary
) -> None:
    urls = tmp_path / "urls"
    urls.write_text("mailto://invented-password\n")
    library.arrives = False
    with pytest.raises(SendingError, match="did not take it") as caught:
        Notify(name="mail", urls_file=str(urls)).send(message())
    assert "invented-password" not in caught.value.why
    urls.write_text("nonsense://invented-password\n")
    with pytest.raises(SendingError, match="not understand") as caught:
        Notify(name="mail", urls_file=str(urls)).send(message())
    assert "invented-password" not in caught.value.why


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # its own, on import
def test_the_true_library_sends_what_it_is_given(tmp_path: Path) -> None:
    """Where the extra is installed: its own way of posting JSON, to a server on loopback."""
    pytest.importorskip("apprise")
    urls = tmp_path / "urls"
    with hooked() as hook:
        urls.write_text(f"json://127.0.0.1:{hook.port}/hook\n")
        Notify(name="mail", urls_file=str(urls)).send(message())
        assert hook.received[0]["title"] == "md0: no redundancy left"
    with hooked(failing) as hook:
        urls.write_text(f"json://127.0.0.1:{hook.port}/hook\n")
        with pytest.raises(SendingError, match="did not take it"):
            Notify(name="mail", urls_file=str(urls)).send(message())
