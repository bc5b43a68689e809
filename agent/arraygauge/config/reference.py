"""Every key that the configuration may have, with kind, default and bounds: read off the models
themselves, so that nothing told of a key can differ from what the program takes."""

from __future__ import annotations

import types
from collections.abc import Iterator
from enum import Enum
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from arraygauge.config.load import SECTIONS
from arraygauge.config.meaning import MEANING
from arraygauge.config.model import Configuration
from arraygauge.judge.findings import Severity
from arraygauge.tell.configuration import KeyWords, SectionWords
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.units import format_binary


def configuration_reference() -> tuple[SectionWords, ...]:
    """All sections in the order in which the whole file's model has them."""
    return tuple(
        SectionWords(
            name=name,
            repeated=get_origin(field.annotation) is tuple,
            about=" ".join((SECTIONS[name].__doc__ or "").split()),
            keys=tuple(_keys(name, SECTIONS[name])),
        )
        for name, field in Configuration.model_fields.items()
    )


def _keys(section: str, model: type[BaseModel]) -> Iterator[KeyWords]:
    for key, field in model.model_fields.items():
        kind = _inner(field.annotation)
        yield KeyWords(
            name=key,
            kind=_kind(kind, key),
            default=_written(field.default, key) if _has_default(field) else None,
            required=field.is_required(),
            bounds=_bounds(field, key),
            meaning=MEANING[section][key],
        )


def _has_default(field: FieldInfo) -> bool:
    return not field.is_required() and field.default is not None


def _inner(annotation: Any) -> Any:
    """Of a kind that may be left out: the kind."""
    if get_origin(annotation) in (Union, types.UnionType):
        [annotation] = [each for each in get_args(annotation) if each is not type(None)]
    return get_args(annotation)[0] if hasattr(annotation, "__metadata__") else annotation


def _kind(kind: Any, key: str) -> str:
    if get_origin(kind) is tuple:
        return "list of texts"
    if kind is Severity:
        return " or ".join(f"'{word}'" for word in SEVERITY_WORDS.values())
    if isinstance(kind, type) and issubclass(kind, Enum):
        return " or ".join(f"'{member.value}'" for member in kind)
    if key.endswith("_bytes"):
        return "bytes, or a text such as '256 MiB'"
    return {bool: "true or false", int: "whole number", float: "number", str: "text"}[kind]


def _written(value: Any, key: str) -> str:
    """As a file has it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return "[]"
    if isinstance(value, Severity):
        return f'"{SEVERITY_WORDS[value]}"'
    if isinstance(value, str):
        return f'"{value}"'
    return f'"{format_binary(value)}"' if key.endswith("_bytes") else f"{value:.12g}"


_SIDES = (
    ("from below", (("ge", "at least"), ("gt", "more than"))),
    ("from above", (("le", "at most"), ("lt", "less than"))),
)


def _bounds(field: FieldInfo, key: str) -> str:
    """From each side the one that is declared last, which is the key's own."""
    told = {
        side: f"{words} {_bound(getattr(each, name), key)}"
        for each in _constraints(field)
        for side, names in _SIDES
        for name, words in names
        if hasattr(each, name)
    }
    return ", ".join(told.values())


def _bound(value: float, key: str) -> str:
    return format_binary(value) if key.endswith("_bytes") and value else f"{value:.12g}"


def _constraints(field: FieldInfo) -> Iterator[Any]:
    """Those of the key itself, and those of a kind that may be left out."""
    yield from field.metadata
    for option in get_args(field.annotation):
        for each in getattr(option, "__metadata__", ()):
            yield from each.metadata if isinstance(each, FieldInfo) else (each,)
