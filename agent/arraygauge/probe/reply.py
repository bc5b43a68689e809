"""The child's answer: one JSON line, parsed without trusting it.

Sizes in bytes and times in nanoseconds on the wire, seconds from here on.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum

from arraygauge.probe.values import LatencyQuantiles, PlaceRate

_LARGEST = 2**63 - 1
_NANO = 1e-9


class ReplyError(ValueError):
    """The line is not an answer."""


class Step(StrEnum):
    """How far the child came."""

    OPEN = "open"
    CHECK = "check"
    READ = "read"
    DONE = "done"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What the child says it did.

    ``number`` is an errno(3), 0 for none; ``offset`` where reading stopped, in
    bytes; ``slices`` the rates of short pieces of the counted time in bytes per
    second. ``places`` holds only extents in which something was counted.
    """

    step: Step
    number: int
    offset: int | None
    found: str
    gone: bool
    budget_spent: bool
    seconds: float
    bytes_read: int
    zero_bytes: int
    places: tuple[PlaceRate, ...]
    slices: tuple[float, ...]
    latency: LatencyQuantiles | None


def parse_reply(line: bytes) -> Reply:
    """Raises ReplyError, and nothing else, for whatever is not a whole, coherent answer."""
    try:
        said = json.loads(line)
        reply = _parse(said)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise ReplyError(f"{type(error).__name__}: {error}") from None
    counted = sum(place.bytes_read for place in reply.places)
    if counted > reply.bytes_read or reply.zero_bytes > reply.bytes_read:
        raise ReplyError("it counted more than it read")
    return reply


def _parse(said: dict[str, object]) -> Reply:
    places = [_Place.parse(place) for place in _list(said["places"])]
    return Reply(
        step=Step(_text(said["step"])),
        number=_whole(said["number"]),
        offset=None if said["offset"] is None else _whole(said["offset"]),
        found=_text(said["found"]),
        gone=said["gone"] is True,
        budget_spent=said["budget_spent"] is True,
        seconds=_whole(said["nanoseconds"]) * _NANO,
        bytes_read=_whole(said["bytes_read"]),
        zero_bytes=_whole(said["zero_bytes"]),
        places=tuple(place.rate() for place in places if place.counted),
        slices=tuple(rate for place in places if place.counted for rate in place.slice_rates()),
        latency=_quantiles(
            [_pair(pair) for pair in _list(said["latencies"])], _whole(said["longest"])
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """One extent's window: pairs of bytes and nanoseconds."""

    start: int
    slices: tuple[tuple[int, int], ...]
    rest: tuple[int, int]

    @classmethod
    def parse(cls, said: object) -> _Place:
        if not isinstance(said, dict):
            raise TypeError("a place must be an object")
        slices = tuple(_pair(pair) for pair in _list(said["slices"]))
        return cls(start=_whole(said["start"]), slices=slices, rest=_pair(said["rest"]))

    @property
    def counted(self) -> tuple[tuple[int, int], ...]:
        return tuple((size, ns) for size, ns in (*self.slices, self.rest) if size and ns)

    def rate(self) -> PlaceRate:
        size = sum(size for size, _ in self.counted)
        seconds = sum(ns for _, ns in self.counted) * _NANO
        return PlaceRate(start_bytes=self.start, bytes_read=size, seconds=seconds)

    def slice_rates(self) -> list[float]:
        """The whole slices; the piece left over only where there are none."""
        whole = [size / (ns * _NANO) for size, ns in self.slices if ns]
        return whole or [self.rate().bytes_per_second]


def _quantiles(bins: list[tuple[int, int]], longest: int) -> LatencyQuantiles | None:
    """From (nanoseconds, how many) in any order."""
    total = sum(count for _, count in bins)
    if not total:
        return None

    def at(share: float) -> float:
        below = 0
        for nanoseconds, count in sorted(bins):
            below += count
            if below >= share * total:
                return min(nanoseconds, longest) * _NANO
        return longest * _NANO

    return LatencyQuantiles(median=at(0.5), p90=at(0.9), p99=at(0.99), maximum=longest * _NANO)


def _whole(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= _LARGEST:
        raise TypeError(f"{str(value)[:40]!r} is not a whole number from 0 up")
    return value


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("text expected")
    return value[:200]


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise TypeError("a list expected")
    return value


def _pair(value: object) -> tuple[int, int]:
    first, second = _list(value)
    return _whole(first), _whole(second)
