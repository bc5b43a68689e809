"""When something was: by the clock on the wall, and by one that nobody sets."""

from __future__ import annotations

import time
from collections.abc import Callable

from arraygauge.values import frozen


@frozen
class Moment:
    """``wall_seconds`` since 1970; ``uptime_seconds`` since boot, suspension included
    (CLOCK_BOOTTIME, clock_gettime(2)); ``boot_id`` None where the kernel does not tell it."""

    wall_seconds: float
    uptime_seconds: float
    boot_id: str | None

    def age_of(self, earlier: Moment) -> float:
        """Seconds passed since ``earlier``, never below 0.

        Within one boot a clock that was set, in either direction, changes nothing. A moment
        of another boot is taken by the wall clock, and one in the future counts as now: only a
        machine that boots with its clock ahead makes it seem older than it is.
        """
        if self.boot_id is not None and self.boot_id == earlier.boot_id:
            return max(0.0, self.uptime_seconds - earlier.uptime_seconds)
        return max(0.0, self.wall_seconds - earlier.wall_seconds)

    def is_before(self, other: Moment) -> bool:
        """Whether ``other``, which has been, is dated in the future all the same."""
        return self.age_of(other) == 0.0 and other.wall_seconds > self.wall_seconds


Clock = Callable[[], Moment]


def system_clock(boot_id: str | None) -> Clock:
    """This machine's clock in the boot that ``inventory`` found (``Host.boot_id``)."""

    def now() -> Moment:
        return Moment(
            wall_seconds=time.time(),
            uptime_seconds=time.clock_gettime(time.CLOCK_BOOTTIME),
            boot_id=boot_id,
        )

    return now
