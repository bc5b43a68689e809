"""Kinds of values that several sections of the configuration have."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from arraygauge.units import parse_bytes


def _bytes(value: object) -> object:
    return parse_bytes(value) if isinstance(value, str) else value


Size = Annotated[int, BeforeValidator(_bytes), Field(gt=0)]
"""A number of bytes, or text such as '256 MiB'."""


def _absolute(path: str) -> str:
    if not path.startswith("/"):
        raise ValueError("write an absolute path, beginning with '/'")
    return path


AbsolutePath = Annotated[str, AfterValidator(_absolute)]
