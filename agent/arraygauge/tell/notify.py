"""E-mail, chat and the like through the apprise library, where it is installed.

It is the extra 'notify' of this package (pip install 'arraygauge[notify]'), and is imported only
when a message is sent.
"""

from __future__ import annotations

import importlib
from typing import Any

from arraygauge.tell.secret import SecretError, read_secret
from arraygauge.tell.sender import Message, SendingError
from arraygauge.values import frozen

_TYPES = {"critical": "failure", "major": "warning", "minor": "warning", "information": "info"}
MISSING = (
    "the library for it is not installed: install arraygauge with its extra 'notify', for "
    "instance by pip install 'arraygauge[notify]'"
)


@frozen
class Notify:
    """``urls_file`` or ``urls_credential`` hold the addresses, one a line, in the library's own
    form: they have passwords in them. Lines that begin with '#' are remarks."""

    name: str
    urls_file: str | None = None
    urls_credential: str | None = None

    def send(self, message: Message) -> None:
        """Done when every address took it; if one did not, all get it again later."""
        library = _library()
        sending = library.Apprise()
        for url in self._urls():
            if not sending.add(url):
                raise SendingError(f"{self.name}: the library does not understand an address")
        words = message["words"]
        try:
            arrived = sending.notify(
                title=words["headline"], body=words["text"], notify_type=type_of(message)
            )
        except Exception as error:  # it is not ours, and must not end the one who sends
            raise SendingError(f"{self.name}: {type(error).__name__}: {error}") from error
        if not arrived:
            raise SendingError(f"{self.name}: at least one address did not take it")

    def _urls(self) -> list[str]:
        try:
            text = read_secret(self.urls_file, self.urls_credential)
        except SecretError as error:
            raise SendingError(str(error)) from error
        lines = (line.strip() for line in text.splitlines())
        urls = [line for line in lines if line and not line.startswith("#")]
        if not urls:
            raise SendingError(f"{self.name}: there is no address in the file")
        return urls


def type_of(message: Message) -> str:
    """The library's word for how bad it is."""
    if message["test"]:
        return "info"
    if message["closed_at_seconds"] is not None:
        return "success"
    return _TYPES[message["severity"]]


def _library() -> Any:
    try:
        return importlib.import_module("apprise")
    except ImportError as error:
        raise SendingError(MISSING) from error
