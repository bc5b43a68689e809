"""Hours of the day in which nothing is probed on schedule: '22:00-06:00'. Pure."""

from __future__ import annotations

import re
from datetime import time

from arraygauge.values import frozen

_HOURS = re.compile(r"\s*([0-2]?[0-9]):([0-5][0-9])\s*-\s*([0-2]?[0-9]):([0-5][0-9])\s*")


@frozen
class QuietHours:
    """From ``start`` up to, not including, ``end``, local time; past midnight where ``end``
    is the earlier of the two."""

    start: time
    end: time

    def contains(self, local_time: time) -> bool:
        if self.start < self.end:
            return self.start <= local_time < self.end
        return local_time >= self.start or local_time < self.end


def parse_quiet_hours(text: str) -> QuietHours:
    """Quiet hours from '22:00-06:00'; 24:00 is midnight.

    Raises ValueError saying what to write instead.
    """
    match = _HOURS.fullmatch(text)
    if match is None:
        raise ValueError(f"'{text}' is not a span of hours: write it like '22:00-06:00'")
    start, end = _time(match[1], match[2]), _time(match[3], match[4])
    if start is None or end is None:
        raise ValueError(f"'{text}' is not a span of hours: a day has 24")
    if start == end:
        raise ValueError(f"'{text}' begins and ends at the same time: name two times")
    return QuietHours(start=start, end=end)


def _time(hour: str, minute: str) -> time | None:
    if (int(hour), int(minute)) == (24, 0):
        return time(0, 0)
    return time(int(hour), int(minute)) if int(hour) < 24 else None
