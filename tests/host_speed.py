"""How fast this machine is now, for limits that are times of the processor.

They were set on the build machine while it had its host for itself. The host has others too, and
takes up to twice as long for the same plain loop from one minute to the next: a limit then allows
as much more. On a machine as fast as that one, or faster, limits are what they say.
"""

from __future__ import annotations

import time
from statistics import median

REFERENCE_SECONDS = 0.070
"""For the loop, in the quickest of a dozen runs on the build machine (CPython 3.11)."""
ROUNDS = 7


def slowness() -> float:
    """How many times as long as then, at least 1."""
    return max(1.0, median(_loop_seconds() for _ in range(ROUNDS)) / REFERENCE_SECONDS)


def _loop_seconds() -> float:
    began, total = time.thread_time(), 0
    for number in range(1_000_000):
        total += number * number % 7
    return time.thread_time() - began
