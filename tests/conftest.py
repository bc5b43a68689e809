"""Settings of all tests."""

from __future__ import annotations

import pytest
from hypothesis import settings

# How long an example takes says more of what else the machine does than of the code.
settings.register_profile("arraygauge", deadline=None)
settings.load_profile("arraygauge")


REPEATS = 2
"""Of a test marked ``measures`` that failed; every repeat is shown in the summary as a rerun."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Repeats what measures: one burst of another guest on this host is no fault of the agent,
    and a fault of the agent is there again each time."""
    for item in items:
        if item.get_closest_marker("measures"):
            item.add_marker(pytest.mark.flaky(reruns=REPEATS))
