"""An agent that runs for weeks needs no more memory than at first.

Counted in blocks that the interpreter has handed out (``sys.getallocatedblocks``): each object
is one at least, and other tests' noise is none.
"""

from __future__ import annotations

import gc
import sys

from unit.service.memory_folder import folder_in_memory
from unit.service.simulated_week import NAMES, Days

LEARNING_DAYS = 8
"""A week of hourly readings makes the baselines, which then let go of them; the day after
fills what is kept of the present."""
LOOKS_AN_HOUR = 40
MOST_MORE_BLOCKS = 1000
"""A day has 1200 looks: an object kept of one in eight would be more. What grows by design is
one remembered median a day for each of seven subjects, for two months."""


def test_memory_is_flat_over_a_week() -> None:
    with folder_in_memory() as folder, Days(folder, LOOKS_AN_HOUR) as days:
        for _ in range(LEARNING_DAYS):
            days.live()
        blocks = []
        for _ in range(7):
            days.live()
            gc.collect()
            blocks.append(sys.getallocatedblocks())
        told = days.told
    print("blocks at the end of each day:", *blocks)
    assert blocks[-1] - blocks[0] <= MOST_MORE_BLOCKS
    assert len(told) == 2 * (LEARNING_DAYS + 7), "a failed and a stalled drive each day"
    assert {each.cause_name for each in told} == set(NAMES)
