"""Passes over the machine: on schedule, or sooner when something asks for one.

The schedule counts real time, suspension included (CLOCK_BOOTTIME, clock_gettime(2)), so that a
machine that sleeps at night is measured as often as it says.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import replace

from arraygauge.config import Configuration
from arraygauge.judge import Status
from arraygauge.probe.stop import StopToken
from arraygauge.service.bell import Bell, wait_for
from arraygauge.service.parts import Pulse
from arraygauge.service.survey import Surveyor

_log = logging.getLogger(__name__)

DEVICE_SECONDS = 600.0
"""Longer than one device can take: waiting for a quiet moment, making the own file, reading."""
RETRY_SECONDS = 300.0
"""A pass that failed is tried again after so long: what it read may have been the reason."""
LEAST_PAUSE_SECONDS = 60.0
"""Between passes, however often somebody asks for one."""

Seconds = Callable[[], float]


def since_boot() -> float:
    """Seconds since boot, suspension included."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Passes:
    """A part of the daemon. ``on_pass`` gets each whole status, ``on_failure`` is called for
    each pass that ended in an error of the agent's own."""

    def __init__(
        self,
        surveyor: Surveyor,
        stop: StopToken,
        on_pass: Callable[[Status], None],
        on_failure: Callable[[], None],
        clock: Seconds = since_boot,
    ) -> None:
        self._surveyor = surveyor
        self._stop = stop
        self._on_pass = on_pass
        self._on_failure = on_failure
        self._clock = clock
        self._bell = Bell()
        self._asked = False
        self._began = -float("inf")
        self._due = -float("inf")

    def wake_pass(self) -> None:
        """Have the next pass begin soon; safe from any thread."""
        self._asked = True
        self._bell.ring()

    def look_at_clock(self) -> None:
        """Time has passed that a waiting thread does not notice: the machine was suspended."""
        self._bell.ring()

    def reconfigure(self, configuration: Configuration) -> None:
        """From the next pass on; the interval at once."""
        self._surveyor = replace(self._surveyor, configuration=configuration)
        self._due = min(self._due, self._began + self._interval)
        self._bell.ring()

    def run(self, pulse: Pulse) -> None:
        """Pass after pass until told to stop."""
        while not self._stop.is_set():
            if (left := self._next - self._clock()) <= 0:
                self._pass(pulse)
                continue
            pulse.rest()
            wait_for((self._stop, self._bell), left)
            self._bell.answer()

    @property
    def _interval(self) -> float:
        return self._surveyor.configuration.run.interval_seconds

    @property
    def _next(self) -> float:
        if self._asked:
            return min(self._due, self._began + min(LEAST_PAUSE_SECONDS, self._interval))
        return self._due

    def _pass(self, pulse: Pulse) -> None:
        self._asked, self._began = False, self._clock()
        self._due = self._began + min(RETRY_SECONDS, self._interval)
        pulse.busy(DEVICE_SECONDS)
        surveyor = self._surveyor
        try:
            status = surveyor.survey(progress=lambda *_: pulse.busy(DEVICE_SECONDS))
            if self._stop.is_set():
                return  # a pass cut short is not a status
            self._on_pass(status)
        except BaseException:
            self._on_failure()
            raise
        finally:
            surveyor.hosts.close()  # a process that would idle until the next pass
        self._due = self._clock() + self._interval
        pulse.well()
