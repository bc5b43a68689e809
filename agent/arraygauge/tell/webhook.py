"""A webhook: each message is posted as JSON to an address, over verified TLS or plain HTTP."""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

from arraygauge import __version__
from arraygauge.tell.secret import SecretError, read_secret
from arraygauge.tell.sender import Message, SendingError
from arraygauge.values import frozen

LONGEST_WAIT_SECONDS = 3600.0


@frozen
class Webhook:
    """``url`` is http or https. The secret, read afresh for each message so that it can be
    changed, is sent in ``secret_header`` after ``secret_prefix``. ``authority_file`` names a
    PEM file of the certificates to trust instead of the system's. Redirections are not
    followed. ``timeout_seconds`` bounds all of one sending but the look-up of the name."""

    name: str
    url: str
    timeout_seconds: float = 5.0
    secret_file: str | None = None
    secret_credential: str | None = None
    secret_header: str = "Authorization"  # noqa: S105 -- a header's name, no secret
    secret_prefix: str = "Bearer "  # noqa: S105
    authority_file: str | None = None

    def send(self, message: Message) -> None:
        """Done when the other side answers with a status of 200 to 299."""
        body = json.dumps(message, allow_nan=False).encode()
        try:
            status, retry_after = self._post(body)
        except SecretError as error:
            raise SendingError(str(error)) from error
        except (OSError, http.client.HTTPException, ValueError) as error:
            raise SendingError(f"{self._where()}: {_why(error)}") from error
        if not 200 <= status < 300:
            raise SendingError(f"{self._where()}: answered with status {status}", retry_after)

    def _post(self, body: bytes) -> tuple[int, float | None]:
        parts = urlsplit(self.url)
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        connection = self._connection()
        with _ended_after(self.timeout_seconds, connection), contextlib.closing(connection):
            connection.request("POST", target, body, self._headers())
            with connection.getresponse() as response:
                return response.status, _seconds(response.getheader("Retry-After"))

    def _connection(self) -> http.client.HTTPConnection:
        parts = urlsplit(self.url)
        host = parts.hostname or ""
        if parts.scheme == "https":
            context = ssl.create_default_context(cafile=self.authority_file)
            return http.client.HTTPSConnection(
                host, parts.port, timeout=self.timeout_seconds, context=context
            )
        return http.client.HTTPConnection(host, parts.port, timeout=self.timeout_seconds)

    def _headers(self) -> dict[str, str]:
        headers = {
            "Content-Type": "application/json",
            "User-Agent": f"arraygauge/{__version__}",
            "Connection": "close",
        }
        if self.secret_file is not None or self.secret_credential is not None:
            secret = read_secret(self.secret_file, self.secret_credential)
            headers[self.secret_header] = self.secret_prefix + secret
        return headers

    def _where(self) -> str:
        """Without path and query, which may hold a secret."""
        parts = urlsplit(self.url)
        port = f":{parts.port}" if parts.port else ""
        return f"{parts.scheme}://{parts.hostname}{port}"


@contextmanager
def _ended_after(seconds: float, connection: http.client.HTTPConnection) -> Iterator[None]:
    """A socket's own timeout begins anew with every byte; this one does not."""
    late = threading.Event()

    def end() -> None:
        late.set()
        with contextlib.suppress(OSError):
            if connection.sock is not None:
                connection.sock.shutdown(socket.SHUT_RDWR)

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    except (OSError, http.client.HTTPException) as error:
        if late.is_set():
            raise TimeoutError from error
        raise
    else:
        if late.is_set():  # an answer cut short can pass for a whole one
            raise TimeoutError
    finally:
        timer.cancel()


def _why(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate was not accepted: {error.verify_message}"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__


def _seconds(retry_after: str | None) -> float | None:
    """Retry-After in seconds (RFC 9110, 10.2.3); its form as a date is not used."""
    if retry_after is None or not retry_after.strip().isdecimal():
        return None
    return min(float(retry_after), LONGEST_WAIT_SECONDS)
