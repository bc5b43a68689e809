"""Bringing a history up to date: numbered SQL files, each applied in one transaction.

A migration is one file, ``migrations/NNNN_words.sql``, numbered without gaps. What an older
version wrote is never edited away by hand, and a file that was released is never changed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from arraygauge.values import frozen

APPLICATION_ID = int.from_bytes(b"agau", "big")
"""In the file's header (PRAGMA application_id), so that another program's file is known."""


@frozen
class Migration:
    number: int
    statements: tuple[str, ...]


@cache
def migrations() -> tuple[Migration, ...]:
    """Those of this version, in order. Raises ValueError where the numbers have a gap."""
    folder = files("arraygauge.history") / "migrations"
    named = {entry.name: entry for entry in folder.iterdir() if entry.name.endswith(".sql")}
    found = tuple(
        Migration(
            number=int(name.split("_")[0]),
            statements=tuple(statements_of(named[name].read_text(encoding="utf-8"))),
        )
        for name in sorted(named)
    )
    if [each.number for each in found] != list(range(1, len(found) + 1)):
        raise ValueError(f"migrations are not numbered 1 to {len(found)}: {sorted(named)}")
    return found


def statements_of(script: str) -> Iterator[str]:
    """The statements of a script, one by one, so that they can share a transaction.

    Raises ValueError for a last statement without its semicolon.
    """
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending.strip()
            pending = ""
    if any(line and not line.startswith("--") for line in map(str.strip, pending.splitlines())):
        raise ValueError(f"not a whole statement: {pending.strip()}")


def version_of(connection: sqlite3.Connection) -> int:
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    return version


def migrate(connection: sqlite3.Connection, wanted: tuple[Migration, ...]) -> None:
    """Apply what is missing. A kill or an error leaves the version before, whole.

    Raises sqlite3.Error; another process may do the same at the same time.
    """
    for migration in wanted:
        if version_of(connection) < migration.number:
            _apply(connection, migration)


def _apply(connection: sqlite3.Connection, migration: Migration) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        if version_of(connection) < migration.number:  # nobody else was quicker
            for statement in migration.statements:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {migration.number}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
