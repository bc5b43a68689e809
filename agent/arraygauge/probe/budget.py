"""How much probing may take of a device: bytes and busy seconds, by the hour and the day. Pure.

What was spent is a list of entries; what is left is computed from them afresh each time, over
the hour and the day that end now. An entry counts until the moment it *ended* has left the
window, so that no hour and no day, wherever it begins, holds more than its limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import time
from math import inf

from arraygauge.probe.quiet_hours import QuietHours
from arraygauge.units import MIB, format_binary, format_duration
from arraygauge.values import frozen

HOUR_SECONDS = 3600.0
DAY_SECONDS = 24 * HOUR_SECONDS
_WINDOWS = (HOUR_SECONDS, DAY_SECONDS)
GIB = 1024 * MIB


@frozen
class BudgetLimits:
    """What probing may take of each device, arrays and partitions counted like drives.

    The defaults are common practice, no published source. An hour's 60 busy seconds are
    1.7 % of a drive's time, a day's 300 are 0.35 %: work that meets a probe in spite of
    yielding meets it rarely. An hour's 8 GiB are four bursts of the largest size; a hard
    disk of 150 MB/s gets to 60 s first, at 9 GB. A day's 48 GiB are six such hours, and
    in a year under 5 full reads of a 4 TB drive.

    ``endurance_share_per_year`` is how much of a drive's rated endurance a year of write
    probes may use: 0.1 % (common practice, no published source).
    """

    hour_bytes: int = 8 * GIB
    hour_seconds: float = 60.0
    day_bytes: int = 48 * GIB
    day_seconds: float = 300.0
    endurance_share_per_year: float = 0.001
    quiet_hours: tuple[QuietHours, ...] = ()


@frozen
class Charge:
    """What a burst takes of one device, or may take at most.

    ``device_id`` is the stable id, so that a drive cannot get a second budget under a new
    name. ``busy_seconds`` is how long the burst lasts.
    """

    device_id: str
    read_bytes: int = 0
    written_bytes: int = 0
    busy_seconds: float = 0.0

    @property
    def moved_bytes(self) -> int:
        return self.read_bytes + self.written_bytes


@frozen
class Spending(Charge):
    """A charge of the past; ``started_at_seconds`` since 1970."""

    started_at_seconds: float


@frozen
class Allowance:
    """What is left. ``why_none`` is set when either is nought, and then ``more_at_seconds``
    (since 1970) is when both will be more; None where waiting does not help."""

    bytes_left: int
    seconds_left: float
    why_none: str | None = None
    more_at_seconds: float | None = None

    def covers(self, moved_bytes: int, busy_seconds: float) -> bool:
        return moved_bytes <= self.bytes_left and busy_seconds <= self.seconds_left


_Timed = tuple[float, float]
"""A time in seconds since 1970, and an amount of bytes or seconds."""


@dataclass(frozen=True, slots=True)
class _Limit:
    """One limit against what counts toward it now; each amount with the time it leaves."""

    limit: float
    words: str
    counted: Sequence[_Timed]

    @property
    def left(self) -> float:
        return max(0, self.limit - sum(amount for _, amount in self.counted))

    @property
    def more_at_seconds(self) -> float:
        """When enough of the oldest amounts have left for something to be left over."""
        spent = sum(amount for _, amount in self.counted)
        for leaves_at, amount in sorted(self.counted):
            spent -= amount
            if spent < self.limit:
                return leaves_at
        return inf


def allowance(limits: BudgetLimits, spent: Iterable[Spending], now_seconds: float) -> Allowance:
    """What is left of one device's budget after ``spent``, entries of that device alone.

    An entry dated in the future (the clock was set back) counts as just begun, so a clock
    set back never grants more.
    """
    moved, busy = _by_end(spent, now_seconds)
    hour_moved, day_moved = (_within(span, moved, now_seconds) for span in _WINDOWS)
    hour_busy, day_busy = (_within(span, busy, now_seconds) for span in _WINDOWS)
    by_bytes = (
        _Limit(limits.hour_bytes, f"{format_binary(limits.hour_bytes)} an hour", hour_moved),
        _Limit(limits.day_bytes, f"{format_binary(limits.day_bytes)} a day", day_moved),
    )
    by_time = (
        _Limit(limits.hour_seconds, f"{format_duration(limits.hour_seconds)} an hour", hour_busy),
        _Limit(limits.day_seconds, f"{format_duration(limits.day_seconds)} a day", day_busy),
    )
    used_up = [limit for limit in (*by_bytes, *by_time) if limit.left <= 0]
    last = max(used_up, key=lambda limit: limit.more_at_seconds, default=None)
    more_at = last.more_at_seconds if last is not None else inf
    return Allowance(
        bytes_left=int(min(limit.left for limit in by_bytes)),
        seconds_left=min(limit.left for limit in by_time),
        why_none=f"the budget of {last.words} is spent" if last is not None else None,
        more_at_seconds=more_at if more_at < inf else None,
    )


def _by_end(spent: Iterable[Spending], now: float) -> tuple[list[_Timed], list[_Timed]]:
    """Bytes and busy seconds of each entry with the time it ended."""
    moved: list[_Timed] = []
    busy: list[_Timed] = []
    for each in spent:
        end = min(each.started_at_seconds, now) + each.busy_seconds
        moved.append((end, each.moved_bytes))
        busy.append((end, each.busy_seconds))
    return moved, busy


def _within(window: float, ended: Iterable[_Timed], now: float) -> list[_Timed]:
    """What has not left the window yet, with the time at which it will have."""
    leaving = ((end + window, amount) for end, amount in ended)
    return [(leaves_at, amount) for leaves_at, amount in leaving if leaves_at > now]


def is_quiet(limits: BudgetLimits, local_time: time) -> bool:
    """Whether nothing may be probed on schedule at this time of the day."""
    return any(hours.contains(local_time) for hours in limits.quiet_hours)
