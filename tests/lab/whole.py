"""How much of the lab's large tables is run: a part each time, all with ARRAYGAUGE_LAB_WHOLE=1.

The whole takes about ten minutes more than a part.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TypeVar

import pytest

WHOLE = os.environ.get("ARRAYGAUGE_LAB_WHOLE") == "1"

only_whole = pytest.mark.skipif(not WHOLE, reason="run with ARRAYGAUGE_LAB_WHOLE=1")
"""For tests of which a part is enough each time."""

Case = TypeVar("Case")


def some_of(cases: Sequence[Case], one_in: int) -> Sequence[Case]:
    """Every ``one_in``-th case, the first included; all of them when the whole is asked for."""
    return cases if WHOLE else cases[::one_in]
