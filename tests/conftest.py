"""Settings of all tests."""

from __future__ import annotations

from hypothesis import settings

# How long an example takes says more of what else the machine does than of the code.
settings.register_profile("arraygauge", deadline=None)
settings.load_profile("arraygauge")
