"""Who comes in: TLS and a password where [exposure] asks for them, everyone on loopback where
it does not."""

from __future__ import annotations

import base64
import binascii
import hmac
import os
import socket
import ssl
from collections.abc import Iterable
from pathlib import Path
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from arraygauge.config.exposure import ExposureSection
from arraygauge.errors import OperatorError
from arraygauge.service.page_host import addressed_to
from arraygauge.tell.secret import SecretError, read_secret


class Door:
    """May be changed from any thread: connections made after that meet the new one."""

    def __init__(self, section: ExposureSection | None) -> None:
        """Raises OperatorError where certificate, key or password cannot be read."""
        self._context: ssl.SSLContext | None = None
        self._expected: bytes | None = None
        self.change(section)

    def change(self, section: ExposureSection | None) -> None:
        """Read certificate, key and password anew; raises as above, and nothing is changed."""
        self._context, self._expected = (None, None) if section is None else _read(section)

    def enter(self, connection: socket.socket) -> socket.socket:
        """The connection as it is to be spoken on. Raises OSError where no TLS comes about, in
        as long as the connection's time limit."""
        if self._context is None:
            return connection
        return self._context.wrap_socket(connection, server_side=True)

    def guard(self, answer: WSGIApplication, listen_address: str) -> WSGIApplication:
        """The same application, for those who give the name and the password (RFC 7617); where
        none is asked for, for those who call the machine by its own name. Over TLS the
        certificate has already told whoever asked that they reached whom they named."""
        checked = addressed_to(listen_address, answer)

        def guarded(environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
            expected = self._expected
            if expected is None:
                return checked(environment, start)
            if self._is_known(environment.get("HTTP_AUTHORIZATION", ""), expected):
                return answer(environment, start)
            challenge = ("WWW-Authenticate", 'Basic realm="arraygauge", charset="UTF-8"')
            start("401 Unauthorized", [challenge, ("Content-Length", "0")])
            return []

        return guarded

    @staticmethod
    def _is_known(header: str, expected: bytes) -> bool:
        scheme, _, given = header.partition(" ")
        try:
            decoded = base64.b64decode(given, validate=True)
        except (binascii.Error, ValueError):
            return False
        return scheme.lower() == "basic" and hmac.compare_digest(decoded, expected)


def _read(section: ExposureSection) -> tuple[ssl.SSLContext, bytes]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(
            section.certificate_file, _key_path(section), password=_no_passphrase
        )
        password = read_secret(section.password_file, section.password_credential)
    except (OSError, ValueError, SecretError) as error:
        raise OperatorError(
            f"what [exposure] names cannot be used: {error}",
            "see that certificate, key and password are there and readable by the agent, and "
            "that the key belongs to the certificate and has no passphrase",
        ) from error
    return context, f"{section.username}:{password}".encode()


def _no_passphrase() -> str:
    """Nobody is there to be asked for a passphrase."""
    raise ValueError("the key has a passphrase")


def _key_path(section: ExposureSection) -> str:
    if section.key_credential is None:
        return section.key_file or ""
    directory = os.environ.get("CREDENTIALS_DIRECTORY")
    if directory is None:
        raise SecretError(
            f"credential '{section.key_credential}': systemd gave this process no credentials; "
            "name it in the unit with LoadCredential="
        )
    return str(Path(directory) / section.key_credential)
