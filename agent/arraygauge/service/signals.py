"""Signals to a stop token."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager

from arraygauge.probe.stop import StopToken


@contextmanager
def stopping_on_signals(stop: StopToken) -> Iterator[None]:
    """SIGTERM and SIGINT set the token; the handlers before are put back at the end."""
    numbers = (signal.SIGTERM, signal.SIGINT)
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
