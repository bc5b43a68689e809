"""Signals to a stop token, and to whoever reloads the configuration."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

from arraygauge.probe.stop import StopToken


@contextmanager
def stopping_on_signals(stop: StopToken) -> Iterator[None]:
    """SIGTERM and SIGINT set the token; the handlers before are put back at the end."""
    with _handling({signal.SIGTERM: stop.set, signal.SIGINT: stop.set}):
        yield


@contextmanager
def reloading_on_signal(reload: Callable[[], None]) -> Iterator[None]:
    """SIGHUP calls ``reload``, which must take no lock."""
    with _handling({signal.SIGHUP: reload}):
        yield


def ending_by_force(stop: StopToken, seconds: float) -> None:
    """Once the token is set, the process ends within so long, whatever it is held up by.

    A disk that hangs can hold up the end of any thread, the main one included. What was
    acknowledged is on the disk, so nothing is lost.
    """

    def wait() -> None:
        stop.wait(None)
        time.sleep(seconds)
        os._exit(0)

    threading.Thread(target=wait, name="end", daemon=True).start()


@contextmanager
def _handling(actions: Mapping[signal.Signals, Callable[[], None]]) -> Iterator[None]:
    before = {number: signal.signal(number, _calling(act)) for number, act in actions.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _calling(act: Callable[[], None]) -> Callable[[int, object], None]:
    return lambda *_: act()
