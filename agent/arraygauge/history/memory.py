"""What the agent has to know again after a restart: by key, as JSON of frozen values."""

from __future__ import annotations

import logging
import sqlite3
from typing import Any

from pydantic import TypeAdapter, ValidationError

from arraygauge.history.database import History
from arraygauge.history.moment import Clock
from arraygauge.history.pen import Pen
from arraygauge.judge.findings import Cause
from arraygauge.judge.state import Serving
from arraygauge.values import frozen

_log = logging.getLogger(__name__)
SERVING_KEY = "serving"


class Memory:
    """Values by key; each key's last value stays."""

    def __init__(self, pen: Pen, clock: Clock) -> None:
        self._pen = pen
        self._clock = clock

    def remember(self, key: str, value: object, kind: Any) -> bool:
        """Keep a value of type ``kind``: a dataclass of plain values, or a collection of such.
        Whether it is on the disk."""
        text = TypeAdapter(kind).dump_json(value).decode()
        at = self._clock().wall_seconds

        def work(connection: sqlite3.Connection) -> None:
            write_remembered(connection, key, text, at)

        return self._pen.write(work, key=f"remembered {key}")

    def recall(self, key: str, kind: Any) -> Any | None:
        """The value last kept; None where there is none, or it is of an older shape.
        Raises HistoryError."""
        return recalled(self._pen.history, key, kind)

    def remember_serving(self, serving: Serving) -> bool:
        slots = tuple(
            _Slot(array_id=array_id, slot=slot, drive=drive)
            for (array_id, slot), drive in serving.slots.items()
        )
        rows = _Serving(slots=slots, arrays=dict(serving.arrays))
        return self.remember(SERVING_KEY, rows, _Serving)

    def recall_serving(self) -> Serving:
        """Who served each slot when the agent last looked; empty for a new history."""
        rows: _Serving | None = self.recall(SERVING_KEY, _Serving)
        if rows is None:
            return Serving()
        return Serving(
            slots={(each.array_id, each.slot): each.drive for each in rows.slots},
            arrays=rows.arrays,
        )


def write_remembered(
    connection: sqlite3.Connection, key: str, value: str, at_seconds: float
) -> None:
    """Keep a value, as JSON, in the place of what the key had."""
    connection.execute(
        "INSERT INTO remembered (key, value, at_seconds) VALUES (?, ?, ?) ON CONFLICT (key)"
        " DO UPDATE SET value = excluded.value, at_seconds = excluded.at_seconds",
        (key, value, at_seconds),
    )


def recalled(history: History, key: str, kind: Any) -> Any | None:
    """What an agent remembered in this history, as ``Memory.recall`` gives it."""
    with history.reading() as connection:
        row = connection.execute("SELECT value FROM remembered WHERE key = ?", (key,)).fetchone()
    if row is None:
        return None
    try:
        return TypeAdapter(kind).validate_json(row[0])
    except ValidationError as error:
        _log.warning("what was remembered as '%s' is of another shape: %s", key, error)
        return None


@frozen
class _Slot:
    array_id: str
    slot: int
    drive: Cause


@frozen
class _Serving:
    slots: tuple[_Slot, ...]
    arrays: dict[str, str]
