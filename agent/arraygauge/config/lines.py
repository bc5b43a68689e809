"""On which line of a TOML text each key begins: the parser of the standard library does not say."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

Place = tuple[str | int, ...]
"""Tables and keys from the top down; an array of tables has the number of the table, from 0."""


def lines_of(text: str) -> dict[Place, int]:
    """The first line, from 1, of each key and table of a valid text. What lies in an array that
    is a value is on the line of its key."""
    found: dict[Place, int] = {}
    tables: dict[Place, int] = {}
    table: Place = ()
    for line, statement in _statements(text):
        content = tomllib.loads(statement)
        if statement.lstrip().startswith("["):
            table = _opened(content, tables)
            places: Iterator[Place] = (table[:end] for end in range(1, len(table) + 1))
        else:
            places = _keys(table, content)
        for place in places:
            found.setdefault(place, line)
    return found


def line_at(lines: Mapping[Place, int], place: Place) -> int | None:
    """The line of a place, or else of the nearest table around it; None for the whole text."""
    around = (place[:end] for end in range(len(place), 0, -1))
    return next((lines[each] for each in around if each in lines), None)


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Headers and assignments with the line they begin on. One that goes on over several lines
    is not valid before its last: a string or an array is open until then."""
    statement, began = "", 1
    for number, line in enumerate(text.split("\n"), start=1):
        began = began if statement else number
        statement += f"{line}\n"
        if _is_whole(statement):
            yield began, statement
            statement = ""


def _is_whole(statement: str) -> bool:
    try:
        tomllib.loads(statement)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _opened(content: Mapping[str, Any], tables: dict[Place, int]) -> Place:
    """The table that a header opens. ``tables`` counts those of each array so far; a name of
    an array within the header means the last of them."""
    table: Place = ()
    inner: Any = content
    while inner:
        [(name, inner)] = inner.items()
        table = (*table, name)
        if isinstance(inner, list):
            tables[table] = tables.get(table, 0) + 1
            inner = None
        if table in tables:
            table = (*table, tables[table] - 1)
    return table


def _keys(table: Place, content: Mapping[str, Any]) -> Iterator[Place]:
    """All keys of an assignment, those of dotted keys and of inline tables too."""
    for name, value in content.items():
        place = (*table, name)
        yield place
        if isinstance(value, dict):
            yield from _keys(place, value)
