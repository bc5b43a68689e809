"""How long the machine slept: what was measured across a sleep says nothing of a drive."""

from __future__ import annotations

import time
from collections.abc import Callable

Seconds = Callable[[], float]

NOTICED_SECONDS = 0.05
"""No sleep is shorter, and two readings of ``suspended_seconds`` do not differ by more."""
_TOGETHER_SECONDS = 0.002
_TRIES = 20


def suspended_seconds() -> float:
    """Seconds this machine has been suspended since boot: CLOCK_BOOTTIME counts them, and
    CLOCK_MONOTONIC does not (clock_gettime(2)). Whoever waits or measures by a deadline uses
    the latter, so that a sleep is no delay of anybody's.

    A busy processor may leave time between reading the two: then they are read again.
    """
    found = (float("inf"), 0.0)
    for _ in range(_TRIES):
        before = time.clock_gettime(time.CLOCK_MONOTONIC)
        counted = time.clock_gettime(time.CLOCK_BOOTTIME)
        after = time.clock_gettime(time.CLOCK_MONOTONIC)
        found = min(found, (after - before, counted - (before + after) / 2))
        if found[0] < _TOGETHER_SECONDS:
            break
    return max(0.0, found[1])
