"""One measured rate against one expectation."""

from __future__ import annotations

from arraygauge.judge.values import Pace
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.theory import Expectation

ABOVE_CEILING = 1.15
"""Further above its ceiling than this, a rate shows the model or a declaration wrong,
or a cache answering for the drives."""


WELL_KNOWN = 0.05
"""A rate known within that share of itself is judged as it is."""


def pace_of(attempt: Attempt, expectation: Expectation | None, short_below: float) -> Pace:
    """Where the rate lies; short means below ``short_below`` of the floor."""
    rate = rate_of(attempt)
    if rate is None:
        return Pace.NOT_MEASURED
    if expectation is None:
        return Pace.NO_REFERENCE
    low, high = surely(attempt, rate)
    if high < short_below * expectation.floor_bytes_per_second:
        return Pace.SHORT
    if low > ABOVE_CEILING * expectation.ceiling_bytes_per_second:
        return Pace.ABOVE
    return Pace.AS_EXPECTED


def surely(attempt: Attempt, rate: float) -> tuple[float, float]:
    """Between which rates the true one lies: the rate itself where it is well known. Of one
    that is not, neither end may accuse alone."""
    if not isinstance(attempt, Measurement) or attempt.uncertainty is None:
        return rate, rate
    if attempt.uncertainty <= WELL_KNOWN:
        return rate, rate
    return attempt.low_bytes_per_second or rate, attempt.high_bytes_per_second or rate


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
