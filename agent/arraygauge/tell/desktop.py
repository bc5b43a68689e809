"""Notifications on the desktop, over the session's D-Bus by the jeepney library.

It is the extra 'desktop' of this package. The call is that of the Desktop Notifications
Specification, org.freedesktop.Notifications.Notify (from memory).
"""

from __future__ import annotations

import importlib
from html import escape
from types import TracebackType
from typing import Any, Self

from arraygauge.errors import MachineTroubleError, OperatorError
from arraygauge.tell.desktop_news import Notice
from arraygauge.tell.sender import SendingError

ANSWER_SECONDS = 5.0
_NAME = "org.freedesktop.Notifications"
_PATH = "/org/freedesktop/Notifications"


class Desktop:
    """A connection to the session's bus. Raises OperatorError where there is none."""

    def __init__(self) -> None:
        self._jeepney = _library("jeepney")
        try:
            self._connection = _library("jeepney.io.blocking").open_dbus_connection(bus="SESSION")
        except (OSError, KeyError, ValueError, RuntimeError) as error:
            raise MachineTroubleError(
                f"no session bus: {error}",
                "run it within a desktop session, or as its user with DBUS_SESSION_BUS_ADDRESS set",
            ) from error
        self._numbers: dict[int, int] = {}

    def show(self, notice: Notice) -> None:
        """In the place of the last one about the same incident. Raises SendingError."""
        address = self._jeepney.DBusAddress(_PATH, bus_name=_NAME, interface=_NAME)
        content: tuple[object, ...] = (
            "arraygauge",
            self._numbers.get(notice.incident, 0),
            "drive-harddisk",
            notice.headline,
            escape(notice.body, quote=False),
            [],
            {"urgency": ("y", int(notice.urgency)), "category": ("s", "device")},
            -1,
        )
        call = self._jeepney.new_method_call(address, "Notify", "susssasa{sv}i", content)
        try:
            reply = self._connection.send_and_get_reply(call, timeout=ANSWER_SECONDS)
        except (OSError, TimeoutError) as error:
            raise SendingError(f"the desktop did not answer: {error}") from error
        if reply.header.message_type is self._jeepney.MessageType.error:
            raise SendingError(f"the desktop refused it: {_text(reply)}")
        [self._numbers[notice.incident]] = reply.body

    def close(self) -> None:
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _text(reply: Any) -> str:
    return " ".join(str(each) for each in reply.body) or "without a reason"


def _library(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise OperatorError(
            "the library for the desktop is not installed",
            "install arraygauge with its extra 'desktop', for instance by "
            "pip install 'arraygauge[desktop]'",
        ) from error
