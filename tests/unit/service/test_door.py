"""Who may scrape from another machine: over TLS, with the password, and nobody else."""

from __future__ import annotations

import base64
import socket
import ssl
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import pytest

from arraygauge.config import Configuration
from arraygauge.config.load import parse_configuration
from arraygauge.config.model import RunSection
from arraygauge.errors import ConfigurationError, OperatorError
from arraygauge.probe.stop import StopToken
from arraygauge.service.door import Door
from arraygauge.service.http import MOST_AT_ONCE, Serving, application
from arraygauge.service.parts import Pulse
from arraygauge.tell.metrics import StatusCollector
from unit.service.certificates import PASSWORD, exposure, make_secrets


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for this machine and its key, made for this run, and a password."""
    made = tmp_path_factory.mktemp("secrets")
    make_secrets(made)
    return made


@contextmanager
def serving(door: Door) -> Iterator[str]:
    stop = StopToken()
    answer = application(StatusCollector(), lambda: "{}")
    served = Serving(RunSection(listen_port=0), answer, stop, door)
    pulse = Pulse("http", lambda: None, time.monotonic)
    thread = threading.Thread(target=served.run, args=(pulse,))
    thread.start()
    try:
        yield served.address
    finally:
        stop.set()
        thread.join(5)


def status(address: str, certificate: Path, given: str | None, path: str = "/metrics") -> int:
    request = urllib.request.Request(f"https://{address}{path}")
    if given is not None:
        request.add_header("Authorization", "Basic " + base64.b64encode(given.encode()).decode())
    context = ssl.create_default_context(cafile=str(certificate))
    try:
        with urllib.request.urlopen(request, timeout=5, context=context) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        with error:
            return error.code


def test_only_who_gives_name_and_password_gets_an_answer(folder: Path) -> None:
    with serving(Door(exposure(folder))) as address:
        certificate = folder / "cert.pem"
        assert status(address, certificate, f"prometheus:{PASSWORD}") == 200
        assert status(address, certificate, f"prometheus:{PASSWORD}", "/incidents.json") == 200
        for wrong in (None, "", "prometheus:", f"root:{PASSWORD}", f"prometheus:{PASSWORD} "):
            assert status(address, certificate, wrong) == 401
            assert status(address, certificate, wrong, "/incidents.json") == 401


def test_who_speaks_no_tls_gets_nothing_and_holds_up_nobody(folder: Path) -> None:
    with serving(Door(exposure(folder))) as address:
        host, _, port = address.partition(":")
        with (
            socket.create_connection((host, int(port)), 5) as plain,
            socket.create_connection((host, int(port)), 5) as silent,
        ):
            plain.sendall(b"GET /metrics HTTP/1.0\r\n\r\n")
            assert status(address, folder / "cert.pem", f"prometheus:{PASSWORD}") == 200
            with suppress(ConnectionResetError):
                assert plain.recv(4096) == b""
            assert silent.fileno() >= 0


def test_strangers_who_only_knock_take_no_more_than_their_room(folder: Path) -> None:
    """The rest are turned away; once they have left, whoever may is answered again."""
    with serving(Door(exposure(folder))) as address, ExitStack() as knocking:
        host, _, port = address.partition(":")
        before = threading.active_count()
        for _ in range(3 * MOST_AT_ONCE):
            knocking.enter_context(socket.create_connection((host, int(port)), 5))
        with pytest.raises((urllib.error.URLError, OSError)):
            status(address, folder / "cert.pem", f"prometheus:{PASSWORD}")
        assert threading.active_count() - before <= MOST_AT_ONCE
        knocking.close()
        deadline = time.monotonic() + 5
        while threading.active_count() > before:
            assert time.monotonic() < deadline
            time.sleep(0.01)
        assert status(address, folder / "cert.pem", f"prometheus:{PASSWORD}") == 200


def test_a_new_certificate_is_used_from_the_next_connection_on(folder: Path) -> None:
    door = Door(exposure(folder))
    with serving(door) as address:
        door.change(
            exposure(
                folder,
                certificate_file=f"{folder}/other-cert.pem",
                key_file=f"{folder}/other-key.pem",
            )
        )
        known = f"prometheus:{PASSWORD}"
        assert status(address, folder / "other-cert.pem", known) == 200
        with pytest.raises(urllib.error.URLError, match="certificate verify failed"):
            status(address, folder / "cert.pem", known)


def test_the_secrets_may_be_credentials_of_the_unit(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """systemd.exec(5), LoadCredential=: files in $CREDENTIALS_DIRECTORY."""
    section = exposure(
        folder,
        key_file=None,
        key_credential="key.pem",
        password_file=None,
        password_credential="password",
    )
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    with pytest.raises(OperatorError, match="LoadCredential="):
        Door(section)
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(folder))
    with serving(Door(section)) as address:
        assert status(address, folder / "cert.pem", f"prometheus:{PASSWORD}") == 200


@pytest.mark.parametrize(
    "changes",
    [
        {"certificate_file": "/nonexistent/cert.pem"},
        {"password_file": "/nonexistent/password"},
        {"key_file": "other-key.pem"},
    ],
    ids=["no certificate", "no password", "another's key"],
)
def test_what_cannot_be_used_is_an_operators_mistake_and_changes_nothing(
    folder: Path, changes: dict[str, str]
) -> None:
    given = {key: str(folder / value) for key, value in changes.items()}
    door = Door(exposure(folder))
    with pytest.raises(OperatorError, match=r"\[exposure\]"):
        door.change(exposure(folder, **given))
    with serving(door) as address:
        assert status(address, folder / "cert.pem", f"prometheus:{PASSWORD}") == 200


def test_an_address_others_reach_needs_an_exposure() -> None:
    assert Configuration().exposure is None
    for address in ("0.0.0.0", "192.0.2.7", "::", "edit1.example"):
        with pytest.raises(ConfigurationError, match=r"add \[exposure\]"):
            parse_configuration(f'[run]\nlisten_address = "{address}"\n', "config.toml")
    for address in ("127.0.0.1", "127.8.0.1", "::1", "localhost"):
        parse_configuration(f'[run]\nlisten_address = "{address}"\n', "config.toml")


def test_a_secret_is_given_once() -> None:
    text = '[exposure]\ncertificate_file = "/c"\nusername = "p"\nkey_file = "/k"\n'
    with pytest.raises(ConfigurationError, match="either password_file or password_credential"):
        parse_configuration(text, "config.toml")
