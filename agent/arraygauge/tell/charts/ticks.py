"""Where an axis has its marks, and what is written at them."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator

from arraygauge.values import frozen

HOUR, DAY = 3600, 86400
_CLOCK_STEPS = (60, 300, 900, HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR)
_DAY_STEPS = (1, 2, 7, 14)
_MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60)


@frozen
class Scale:
    """An axis from ``low`` to ``high``, with round numbers ``step`` apart between them."""

    low: float
    high: float
    step: float

    @property
    def ticks(self) -> tuple[float, ...]:
        first = math.ceil(self.low / self.step - 1e-9)
        last = math.floor(self.high / self.step + 1e-9)
        return tuple(index * self.step for index in range(first, last + 1))

    def share(self, value: float) -> float:
        """Where a value lies, 0 at the low end and 1 at the high one, also beyond them."""
        return (value - self.low) / (self.high - self.low)


def rate_scale(values: list[float], *, from_zero: bool, most_ticks: int = 5) -> Scale:
    """Round numbers around the values. Not ``from_zero``, the axis may begin higher, but holds
    at least a quarter of the highest value, so that a small change is not made to look big."""
    highest = max(values, default=0.0) or 1e6
    lowest = min(values, default=0.0)
    low = 0.0 if from_zero or lowest < 0.6 * highest else min(lowest, 0.75 * highest)
    step = _round_step((highest - low) / (most_ticks - 1))
    low = math.floor(low / step + 1e-9) * step
    high = math.ceil(highest / step * 1.02) * step
    return Scale(low=low, high=high, step=step)


def _round_step(least: float) -> float:
    power: float = 10.0 ** math.floor(math.log10(least))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= least * 0.999)


def megabytes(bytes_per_second: float) -> str:
    """A number on an axis of MB/s."""
    return f"{bytes_per_second / 1e6:.6g}"


@frozen
class DateTick:
    at_seconds: float
    words: str


def date_ticks(start: float, end: float, most: int = 6) -> tuple[DateTick, ...]:
    """Round local times between two moments, at most so many."""
    span = max(end - start, 1.0)
    for step in _CLOCK_STEPS:
        if span / step <= most:
            return _every(
                _clock(start, step), start, end, "%H:%M" if span <= DAY else "%d %b %H:%M"
            )
    for days in _DAY_STEPS:
        if span / (days * DAY) <= most:
            return _every(_days(start, days), start, end, "%d %b")
    for months in _MONTH_STEPS:
        if span / (months * 30.4 * DAY) <= most:
            return _every(_months(start, months), start, end, "%b %Y")
    return _every(_months(start, 240), start, end, "%Y")


def _every(moments: Iterator[float], start: float, end: float, form: str) -> tuple[DateTick, ...]:
    found: list[DateTick] = []
    for moment in moments:
        if moment > end:
            return tuple(found)
        if moment >= start:
            words = time.strftime(form, time.localtime(moment)).lstrip("0")
            found.append(DateTick(at_seconds=moment, words=words))
    return tuple(found)


def _clock(start: float, step: int) -> Iterator[float]:
    """From midnight on; a day's change of the clock moves what comes after it."""
    moment = _local(start, 0)
    while True:
        yield moment
        moment += step


def _days(start: float, step: int) -> Iterator[float]:
    index = 0
    while True:
        yield _local(start, index)
        index += step


def _local(start: float, days: int) -> float:
    """Midnight so many days later."""
    year, month, day = time.localtime(start)[:3]
    return time.mktime((year, month, day + days, 0, 0, 0, 0, 0, -1))


def _months(start: float, step: int) -> Iterator[float]:
    year, month = time.localtime(start)[:2]
    index = (month - 1) // step * step if step < 12 else 0
    while True:
        yield time.mktime((year + index // 12, index % 12 + 1, 1, 0, 0, 0, 0, 0, -1))
        index += step
