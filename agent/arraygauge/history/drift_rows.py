"""What drift is judged by, kept over restarts; and a person's word that the present is right.

The word is left here by the command line and taken up by the agent that runs.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from pydantic import TypeAdapter

from arraygauge.history.database import History
from arraygauge.history.memory import recalled, write_remembered
from arraygauge.history.moment import Clock
from arraygauge.history.pen import Pen
from arraygauge.judge.drifting import DriftMemory

DRIFT_KEY = "drift"
ACCEPT_PREFIX = "accept "
_KIND: TypeAdapter[DriftMemory] = TypeAdapter(DriftMemory)


def recall_drift(history: History) -> DriftMemory:
    """As the agent left it after its last pass; nothing for a new history. Raises
    HistoryError."""
    found: DriftMemory | None = recalled(history, DRIFT_KEY, DriftMemory)
    return found if found is not None else DriftMemory()


def ask_to_accept(history: History, stable_id: str, now_seconds: float) -> None:
    """Leave word that what this does now is right. Raises HistoryError: who says so must know
    whether it was heard."""
    with history.transaction() as connection:
        write_remembered(connection, f"{ACCEPT_PREFIX}{stable_id}", "true", now_seconds)


def asked_to_accept(history: History) -> tuple[str, ...]:
    """The stable ids for which such word waits. Raises HistoryError."""
    with history.reading() as connection:
        rows = connection.execute(
            "SELECT substr(key, ?) FROM remembered WHERE key >= ? AND key < ? ORDER BY key",
            (len(ACCEPT_PREFIX) + 1, ACCEPT_PREFIX, f"{ACCEPT_PREFIX}\U0010ffff"),
        ).fetchall()
    return tuple(str(row[0]) for row in rows)


class DriftRows:
    """Those of one history."""

    def __init__(self, pen: Pen, clock: Clock) -> None:
        self._pen = pen
        self._clock = clock

    def keep(self, memory: DriftMemory, accepted: Iterable[str] = ()) -> bool:
        """Keep what is known, and take away the words that are followed by it, in one
        transaction. Whether it is on the disk."""
        text = _KIND.dump_json(memory, exclude_defaults=True).decode()
        at, followed = self._clock().wall_seconds, tuple(accepted)

        def work(connection: sqlite3.Connection) -> None:
            write_remembered(connection, DRIFT_KEY, text, at)
            for stable_id in followed:
                key = f"{ACCEPT_PREFIX}{stable_id}"
                connection.execute("DELETE FROM remembered WHERE key = ?", (key,))

        return self._pen.write(work, key=f"remembered {DRIFT_KEY}")
