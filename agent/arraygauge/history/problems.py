"""What can be wrong with the history file, in an operator's words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path

from arraygauge.errors import OperatorError


class HistoryProblem(StrEnum):
    """Why the history cannot be used. Damaged and foreign files are set aside."""

    FULL = "full"
    DENIED = "denied"
    BUSY = "busy"
    DAMAGED = "damaged"
    NEWER = "newer"
    FOREIGN = "foreign"
    FAILED = "failed"


class HistoryError(OperatorError):
    """The history file cannot be read or written now; ``kind`` says why."""

    def __init__(self, kind: HistoryProblem, message: str, remedy: str) -> None:
        super().__init__(message, remedy)
        self.kind = kind


_REMEDIES = {
    HistoryProblem.FULL: "free some space there, or raise the quota",
    HistoryProblem.DENIED: "let this user write there, or set another STATE_DIRECTORY",
    HistoryProblem.BUSY: "another program holds it; end that, or try again",
    HistoryProblem.DAMAGED: "it is set aside the next time it is opened; nothing else is needed",
    HistoryProblem.NEWER: "use the newer arraygauge, or set another STATE_DIRECTORY",
    HistoryProblem.FOREIGN: "move that file elsewhere: it is not arraygauge's",
    HistoryProblem.FAILED: "look at the kernel log for errors of the drive below it",
}

# Primary result codes, https://www.sqlite.org/rescode.html (from memory). Others mean that the
# program asked for something wrong.
_KINDS = {
    sqlite3.SQLITE_FULL: HistoryProblem.FULL,
    sqlite3.SQLITE_READONLY: HistoryProblem.DENIED,
    sqlite3.SQLITE_CANTOPEN: HistoryProblem.DENIED,
    sqlite3.SQLITE_PERM: HistoryProblem.DENIED,
    sqlite3.SQLITE_AUTH: HistoryProblem.DENIED,
    sqlite3.SQLITE_BUSY: HistoryProblem.BUSY,
    sqlite3.SQLITE_LOCKED: HistoryProblem.BUSY,
    sqlite3.SQLITE_CORRUPT: HistoryProblem.DAMAGED,
    sqlite3.SQLITE_NOTADB: HistoryProblem.DAMAGED,
    sqlite3.SQLITE_PROTOCOL: HistoryProblem.BUSY,
    sqlite3.SQLITE_IOERR: HistoryProblem.FAILED,
    sqlite3.SQLITE_NOLFS: HistoryProblem.FAILED,
}


# Extended result codes that say more than their primary ones. The memory that connections share
# in WAL mode is a file beside the database, which cannot grow where the disk is full.
_EXTENDED_KINDS = {sqlite3.SQLITE_IOERR_SHMSIZE: HistoryProblem.FULL}


def kind_of(error: sqlite3.Error) -> HistoryProblem | None:
    """None for a bug of this program, which no operator can mend. The primary code is the low
    byte of an extended one."""
    code: int = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    return _EXTENDED_KINDS.get(code) or _KINDS.get(code & 0xFF)


def history_error(path: Path | None, kind: HistoryProblem, detail: object) -> HistoryError:
    """The error for an operator: file, what happened, what to do."""
    return HistoryError(kind, f"{path or 'history in memory'}: {detail}", _REMEDIES[kind])


@contextmanager
def as_history_errors(path: Path | None) -> Iterator[None]:
    """Whatever SQLite reports of the file in an operator's words; a bug stays what it is."""
    try:
        yield
    except sqlite3.Error as error:
        kind = kind_of(error)
        if kind is None:
            raise
        raise history_error(path, kind, error) from error
