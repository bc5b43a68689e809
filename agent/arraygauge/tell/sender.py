"""Ways of telling have one thing in common: a message is sent, or it is said why it was not."""

from __future__ import annotations

from typing import Any, Protocol

Message = dict[str, Any]
"""A document in the format 'arraygauge.incident/1'."""


class SendingError(Exception):
    """The message did not arrive, as far as is known. ``wait_seconds`` is how long the other
    side asks to be left alone, where it does."""

    def __init__(self, why: str, wait_seconds: float | None = None) -> None:
        super().__init__(why)
        self.why = why
        self.wait_seconds = wait_seconds


class Sender(Protocol):
    """One channel. ``name`` is kept in the history: it must stay the same over restarts."""

    @property
    def name(self) -> str: ...

    def send(self, message: Message) -> None:
        """Returns within a bounded time. Raises SendingError."""
