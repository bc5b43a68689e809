"""What a trial had measured of an array before it was built, and what became of that."""

from __future__ import annotations

from arraygauge.theory.values import Workload
from arraygauge.values import frozen


@frozen
class Figure:
    """A measured rate and the interval it lies in, bytes per second; no interval where there were
    fewer than six places."""

    rate: float
    low: float | None = None
    high: float | None = None

    @property
    def uncertainty(self) -> float | None:
        """Half the interval's width as a share of the rate."""
        if self.low is None or self.high is None or not self.rate:
            return None
        return (self.high - self.low) / 2 / self.rate


@frozen
class PastTrial:
    """One option as it was measured in a trial, with what had been asked of it."""

    read: Figure | None
    write: Figure | None
    read_workload: Workload
    write_workload: Workload
    at_seconds: float


@frozen
class SinceTrial:
    """The trial of an array that is there, and how far its reading lies from it now: as a share
    of the trial's rate, negative for slower. None where the two are not to be compared: nothing
    was measured, it was asked otherwise, or a member is missing or synchronising."""

    past: PastTrial
    share: float | None
