"""One measured rate against one expectation."""

from __future__ import annotations

from arraygauge.judge.values import Pace
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.theory import Expectation

ABOVE_CEILING = 1.15
"""Further above its ceiling than this, a rate shows the model or a declaration wrong,
or a cache answering for the drives."""


def pace_of(attempt: Attempt, expectation: Expectation | None, short_below: float) -> Pace:
    """Where the rate lies; short means below ``short_below`` of the floor."""
    rate = rate_of(attempt)
    if rate is None:
        return Pace.NOT_MEASURED
    if expectation is None:
        return Pace.NO_REFERENCE
    if rate < short_below * expectation.floor_bytes_per_second:
        return Pace.SHORT
    if rate > ABOVE_CEILING * expectation.ceiling_bytes_per_second:
        return Pace.ABOVE
    return Pace.AS_EXPECTED


def rate_of(attempt: Attempt | None) -> float | None:
    """Bytes per second, where the attempt gave a rate that may be judged."""
    if isinstance(attempt, Measurement) and attempt.usable:
        return attempt.bytes_per_second
    return None


def ratio_of(attempt: Attempt, expectation: Expectation | None) -> float | None:
    """Measured over the ceiling."""
    rate = rate_of(attempt)
    if rate is None or expectation is None:
        return None
    return rate / expectation.ceiling_bytes_per_second
