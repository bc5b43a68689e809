"""Moments as the person's clock shows them."""

from __future__ import annotations

import time


def minute(seconds: float) -> str:
    """Local time of a moment since 1970, as 2026-11-25 17:30."""
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(seconds))
