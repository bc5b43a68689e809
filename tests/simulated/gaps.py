"""The gaps that the simulation found in the model. All are closed, and held closed."""

from __future__ import annotations

from simulated.gaps_found_last import FOUND_LAST
from simulated.gaps_left import LEFT
from simulated.gaps_of_one_stream import ONE_STREAM
from simulated.gaps_of_other_loads import OTHER_LOADS

FOUND = (*ONE_STREAM, *OTHER_LOADS, *LEFT, *FOUND_LAST)
