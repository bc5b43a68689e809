"""The gaps that the simulation found in the model: closed ones, held closed, and open ones."""

from __future__ import annotations

from simulated.cases import Case
from simulated.gaps_left import LEFT
from simulated.gaps_of_one_stream import ONE_STREAM
from simulated.gaps_of_other_loads import OTHER_LOADS

FOUND = (*ONE_STREAM, *OTHER_LOADS, *LEFT)
CLOSED = tuple(gap for gap in FOUND if gap.spoils is None)
OPEN = tuple(gap for gap in FOUND if gap.spoils is not None)


def in_open_gap(case: Case) -> bool:
    """Whether this case is of a kind the model is known to miss."""
    return any(gap.spoils is not None and gap.spoils(case) for gap in OPEN)
