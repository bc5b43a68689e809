"""The child's answer: one JSON line, parsed without trusting it.

Sizes in bytes and times in nanoseconds on the wire, seconds from here on.
"""

from __future__ import annotations

import json
from enum import StrEnum

from arraygauge.probe.values import LatencyQuantiles, PlaceRate
from arraygauge.probe.wire import items, pair, text, whole
from arraygauge.values import frozen

_NANO = 1e-9


class ReplyError(ValueError):
    """The line is not an answer."""


class Step(StrEnum):
    """How far the child came."""

    OPEN = "open"
    CHECK = "check"
    HOT = "hot"
    READ = "read"
    DONE = "done"


@frozen
class Reply:
    """What the child says it did.

    ``number`` is an errno(3), 0 for none; ``offset`` where reading stopped, in
    bytes; ``temperature`` is the kernel's text. ``places`` holds only extents in which
    something was counted; ``progress`` is that of ``Burst``.
    """

    step: Step
    number: int
    offset: int | None
    found: str
    gone: bool
    budget_spent: bool
    seconds: float
    bytes_read: int
    temperature: str | None
    places: tuple[PlaceRate, ...]
    latency: LatencyQuantiles | None
    progress: tuple[tuple[float, int], ...] = ()


def parse_reply(line: bytes) -> Reply:
    """Raises ReplyError, and nothing else, for whatever is not a whole, coherent answer."""
    try:
        said = json.loads(line)
        reply = _parse(said)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise ReplyError(f"{type(error).__name__}: {error}") from None
    counted = sum(place.bytes_read for place in reply.places)
    zeros = sum(place.zero_bytes for place in reply.places)
    if max(counted, zeros) > reply.bytes_read:
        raise ReplyError("it counted more than it read")
    return reply


def _parse(said: dict[str, object]) -> Reply:
    places = [_place(place) for place in items(said["places"])]
    temperature = said["temperature"]
    return Reply(
        step=Step(text(said["step"])),
        number=whole(said["number"]),
        offset=None if said["offset"] is None else whole(said["offset"]),
        found=text(said["found"]),
        gone=said["gone"] is True,
        budget_spent=said["budget_spent"] is True,
        seconds=whole(said["nanoseconds"]) * _NANO,
        bytes_read=whole(said["bytes_read"]),
        temperature=None if temperature is None else text(temperature),
        places=tuple(place for place in places if place.bytes_read and place.seconds),
        latency=_quantiles([whole(value) for value in items(said["latencies"])]),
        progress=_progress(items(said["progress"])),
    )


def _place(said: object) -> PlaceRate:
    start, size, nanoseconds, zeros = items(said)
    return PlaceRate(
        start_bytes=whole(start),
        bytes_read=whole(size),
        seconds=whole(nanoseconds) * _NANO,
        zero_bytes=whole(zeros),
    )


def _progress(said: list[object]) -> tuple[tuple[float, int], ...]:
    marks = [pair(mark) for mark in said]
    if marks != sorted(marks):
        raise ReplyError("time or bytes went back")
    return tuple((moment * _NANO, size) for moment, size in marks)


def _quantiles(nanoseconds: list[int]) -> LatencyQuantiles | None:
    if not nanoseconds:
        return None
    middle, p90, p99, longest = (value * _NANO for value in nanoseconds)
    return LatencyQuantiles(median=middle, p90=p90, p99=p99, maximum=longest)
