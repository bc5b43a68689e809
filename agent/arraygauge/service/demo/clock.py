"""The demo's own time: it passes only when it is told to, and never asks the real clock."""

from __future__ import annotations

from dataclasses import dataclass

from arraygauge.history import Moment
from arraygauge.service.demo.drives import YEAR_DAYS
from arraygauge.service.demo.machine import BOOT_ID

DAY_SECONDS = 86400.0
BEGINS_SECONDS = 1_893_456_000.0
"""2030-01-01 00:00 UTC: plainly no date on which anything was measured."""


@dataclass(slots=True)
class SimulatedClock:
    """``day`` counts from the beginning of the story, with fractions; seen from any thread."""

    day: float = 0.0

    def __call__(self) -> Moment:
        """As the history wants it: the invented machine has been up since before the story."""
        return Moment(
            wall_seconds=self.wall_seconds,
            uptime_seconds=self.uptime_seconds,
            boot_id=BOOT_ID,
        )

    @property
    def wall_seconds(self) -> float:
        return BEGINS_SECONDS + self.day * DAY_SECONDS

    @property
    def uptime_seconds(self) -> float:
        return (YEAR_DAYS + self.day) * DAY_SECONDS

    def advance_to(self, day: float) -> None:
        """Time never goes back."""
        self.day = max(self.day, day)
