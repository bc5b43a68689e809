"""The history file: opened, checked, brought up to date; set aside where it cannot be used.

WAL with synchronous FULL: a transaction that was committed is there after a kill and after a
power cut (https://www.sqlite.org/pragma.html#pragma_synchronous, from memory).
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from arraygauge.history.aside import set_aside
from arraygauge.history.migrate import APPLICATION_ID, migrate, migrations, version_of
from arraygauge.history.ownership import OwnedError, Ownership, directory_error, own_history
from arraygauge.history.problems import (
    HistoryError,
    HistoryProblem,
    as_history_errors,
    history_error,
    kind_of,
)

BUSY_SECONDS = 5.0
"""How long to wait for another process to finish its transaction."""
_UNUSABLE = (HistoryProblem.DAMAGED, HistoryProblem.NEWER, HistoryProblem.FOREIGN)


class History:
    """An open history, for several threads: each transaction is one thread's alone.

    ``path`` is None where it is in memory and ends with the process. ``notes`` are sentences
    about how it was opened that a person should see: what was set aside, what is not kept.
    """

    def __init__(
        self, connection: sqlite3.Connection, path: Path | None, notes: tuple[str, ...]
    ) -> None:
        self.path = path
        self.notes = notes
        self._connection = connection
        self._lock = threading.RLock()

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Committed, and on the disk, when the block is left; undone if it raises.

        Holds out other writers from the start. Raises HistoryError.
        """
        with self._lock, as_history_errors(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """For a query by itself. Raises HistoryError."""
        with self._lock, as_history_errors(self.path):
            yield self._connection

    def close(self) -> None:
        with self._lock:
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


def open_history(path: Path, owner: Ownership | None = None) -> History:
    """The history at ``path``, made where there is none.

    A file that is damaged, of a newer version or another program's is set aside, which
    ``notes`` say, and a new one begun; but only by the process that owns it (``owner``), or
    while nobody does. Raises HistoryError naming the file and the remedy; whoever can go on
    without one calls ``history_without_file``.
    """
    try:
        return _open(path, notes=())
    except HistoryError as error:
        if error.kind not in _UNUSABLE:
            raise
        unusable = error
    if owner is not None:
        return _begin_anew(path)
    try:
        with own_history(path):
            return _begin_anew(path)
    except OwnedError as owned:
        raise HistoryError(
            unusable.kind, f"{unusable.message}; {owned.message}", owned.remedy
        ) from owned


def history_without_file(reason: HistoryError) -> History:
    """A history in memory, for when there cannot be a file: it says so in its notes."""
    connection = _connect(":memory:")
    migrate(connection, migrations())
    note = (
        f"{reason.message}: what is measured and spent now is forgotten when this program ends; "
        f"{reason.remedy}"
    )
    return History(connection, None, (note,))


def _begin_anew(path: Path) -> History:
    """By the owner only. Another process may have set the same file aside a moment ago."""
    try:
        return _open(path, notes=())
    except HistoryError as error:
        if error.kind not in _UNUSABLE:
            raise
        unusable = error
    try:
        aside = set_aside(path, unusable.kind, time.time())
    except OSError as error:
        raise directory_error(path, error) from error
    return _open(path, (f"{unusable.message}; it was set aside as {aside}, and a new one begun",))


def _open(path: Path, notes: tuple[str, ...]) -> History:
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise directory_error(path, error) from error
    with as_history_errors(path):
        connection = _connect(str(path))
        try:
            _check_whose(connection, path)
            _set_up(connection)
            migrate(connection, migrations())
            _check_whole(connection, path)
            _check_writable(connection)
        except BaseException:
            connection.close()
            raise
    return History(connection, path, notes)


def _connect(name: str) -> sqlite3.Connection:
    """Transactions are begun by name only; ``History`` keeps threads apart."""
    return sqlite3.connect(
        name, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
    )


def _check_whose(connection: sqlite3.Connection, path: Path) -> None:
    """Before anything is changed in a file that may not be ours. All is read of one moment:
    another process may be making the file now."""
    connection.execute("BEGIN")
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    tables: int = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    version = version_of(connection)
    connection.execute("COMMIT")
    if application != APPLICATION_ID and (application or tables):
        raise history_error(path, HistoryProblem.FOREIGN, "it was written by another program")
    known = len(migrations())
    if version > known:
        detail = f"written by a newer version ({version}, known is {known})"
        raise history_error(path, HistoryProblem.NEWER, detail)


def _set_up(connection: sqlite3.Connection) -> None:
    """Where WAL is not to be had (some network filesystems), the journal there is serves."""
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")
    _switch_to_wal(connection)


def _switch_to_wal(connection: sqlite3.Connection) -> None:
    """The switch does not wait for other processes by itself."""
    deadline = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
        except sqlite3.OperationalError as error:
            if kind_of(error) is not HistoryProblem.BUSY or time.monotonic() > deadline:
                raise
            time.sleep(0.02)
        else:
            return


def _check_whole(connection: sqlite3.Connection, path: Path) -> None:
    with closing(connection.execute("PRAGMA quick_check(1)")) as rows:
        verdict: str = rows.fetchone()[0]
    if verdict != "ok":
        raise history_error(path, HistoryProblem.DAMAGED, verdict)


def _check_writable(connection: sqlite3.Connection) -> None:
    """SQLite opens a file on a read-only filesystem without a word."""
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("ROLLBACK")
