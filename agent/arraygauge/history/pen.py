"""Writing that a full disk only delays: what cannot be written now is kept in memory, in order.

Each write is one piece of work on a connection, all of it or nothing, and doing it twice is
doing it once. So it may be tried again whatever became of it the first time.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable

from arraygauge.history.database import History
from arraygauge.history.problems import HistoryError
from arraygauge.values import frozen

Work = Callable[[sqlite3.Connection], None]
MOST_HELD = 5000
"""Pieces of work held in memory; beyond it the oldest that may be missed are."""


@frozen
class _Held:
    work: Work
    key: str | None
    may_be_missed: bool


class Pen:
    """One for a history, for several threads. ``problem`` is set while work is held in memory:
    it is then lost if this process ends. ``missed`` counts what was given up for lack of room.
    """

    def __init__(self, history: History) -> None:
        self.history = history
        self.problem: HistoryError | None = None
        self.missed = 0
        self._held: list[_Held] = []
        self._lock = threading.RLock()

    def write(self, work: Work, *, key: str | None = None, may_be_missed: bool = False) -> bool:
        """Whether it, and all that was held before it, is on the disk.

        Of held work with the same ``key`` only the last is done: its other half must be the
        whole of what it replaces. Raises nothing for a disk that takes nothing.
        """
        with self._lock:
            if key is not None:
                self._held = [each for each in self._held if each.key != key]
            self._held.append(_Held(work=work, key=key, may_be_missed=may_be_missed))
            return self.flush()

    def flush(self) -> bool:
        """Try to write what is held. Whether nothing is left."""
        with self._lock:
            try:
                with self.history.transaction() as connection:
                    for each in self._held:
                        each.work(connection)
            except HistoryError as error:
                self.problem = error
                self._make_room()
                return False
            except BaseException:
                self._held.pop()  # a bug in the newest work must not hold up all that follows
                raise
            self._held.clear()
            self.problem = None
            return True

    def _make_room(self) -> None:
        while len(self._held) > MOST_HELD:
            index = next((i for i, each in enumerate(self._held) if each.may_be_missed), 0)
            del self._held[index]
            self.missed += 1
