"""The parts of a running agent: each in a thread of its own, restarted alone when it fails.

A part says through its ``Pulse`` what it is about, so that the main loop can tell one that is
at work or at rest from one that hangs. It is in trouble from the moment it fails until it has
done its work again.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from collections.abc import Callable, Sequence

from arraygauge.judge.findings import Finding, agent_impaired
from arraygauge.probe.stop import StopToken
from arraygauge.tell.part_state import PartState
from arraygauge.values import frozen

_log = logging.getLogger(__name__)

PAUSE_SECONDS = (1.0, 2.0, 5.0, 15.0, 60.0)
"""Before a restart, by how often it failed of late; the last for all that follow."""
OF_LATE_SECONDS = 600.0

Seconds = Callable[[], float]
"""A clock that is never set: CLOCK_MONOTONIC, which rests while the machine is suspended."""


class Pulse:
    """What one part says of itself, and the main loop reads from its own thread."""

    def __init__(self, part: str, on_news: Callable[[], None], clock: Seconds) -> None:
        self._part = part
        self._on_news = on_news
        self._clock = clock
        self._late_at = math.inf
        self._failures = 0
        self._last_error: str | None = None
        self._failed_at: list[float] = []

    def busy(self, seconds: float) -> None:
        """At work; it will be heard of again within so long, or it hangs."""
        self._late_at = self._clock() + seconds

    def rest(self) -> None:
        """It waits for something to do, for as long as that takes."""
        self._late_at = math.inf

    def well(self) -> None:
        """It has done its work: whatever failed before is over."""
        if self._failures:
            self._failures, self._last_error = 0, None
            _log.warning("%s: works again", self._part)
            self._on_news()

    def fail(self, error: str) -> float:
        """It ended; seconds to wait before it is started again."""
        now = self._clock()
        self._failed_at = [at for at in self._failed_at if now - at < OF_LATE_SECONDS]
        self._failed_at = [*self._failed_at, now][-len(PAUSE_SECONDS) :]
        self._failures, self._last_error = self._failures + 1, error
        self.rest()
        self._on_news()
        return PAUSE_SECONDS[len(self._failed_at) - 1]

    @property
    def state(self) -> PartState:
        return PartState(
            part=self._part,
            failures=self._failures,
            last_error=self._last_error,
            overdue=self._clock() > self._late_at,
        )


@frozen
class Part:
    """``run`` blocks until the agent is told to stop; it may fail, and is then called again in
    the same thread. ``wake`` has a ``run`` that waits for anything but the stop token notice
    that it is set."""

    name: str
    run: Callable[[Pulse], None]
    wake: Callable[[], None] | None = None


class Parts:
    """All parts of one agent. ``on_news`` is called, by any thread, when one fails or is well
    again: it must not wait for anything."""

    def __init__(
        self,
        parts: Sequence[Part],
        stop: StopToken,
        on_news: Callable[[], None],
        clock: Seconds = time.monotonic,
    ) -> None:
        self._parts = tuple(parts)
        self._stop = stop
        self._pulses = {part.name: Pulse(part.name, on_news, clock) for part in parts}
        self._threads = [
            threading.Thread(target=self._live, args=(part,), name=part.name, daemon=True)
            for part in parts
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    @property
    def troubles(self) -> tuple[PartState, ...]:
        """Parts that failed and have not worked since, or hang."""
        states = (pulse.state for pulse in self._pulses.values())
        return tuple(state for state in states if state.troubled)

    @property
    def overdue(self) -> tuple[str, ...]:
        """Names of parts that make no progress."""
        return tuple(state.part for state in self.troubles if state.overdue)

    def end(self, within_seconds: float) -> tuple[str, ...]:
        """Once the stop token is set: wait so long for all of them; those left behind."""
        for part in self._parts:
            if part.wake is not None:
                part.wake()
        until = time.monotonic() + within_seconds
        for thread in self._threads:
            thread.join(max(until - time.monotonic(), 0.0))
        return tuple(thread.name for thread in self._threads if thread.is_alive())

    def _live(self, part: Part) -> None:
        pulse = self._pulses[part.name]
        while not self._stop.is_set():
            ended = _end_of(part, pulse)
            if not self._stop.is_set():
                self._stop.wait(pulse.fail(ended))


def _end_of(part: Part, pulse: Pulse) -> str:
    """Let it run; what made it end."""
    try:
        part.run(pulse)
    # Libraries that print end the program with SystemExit when its output closes.
    except (Exception, SystemExit) as error:
        _log.exception("%s: failed; it is started again", part.name)
        return f"{type(error).__name__}: {error}".splitlines()[0][:200]
    return "it ended by itself"


def finding_of(state: PartState) -> Finding:
    """That a part is in trouble, for an observation of the agent itself."""
    return agent_impaired(
        f"agent part {state.part}",
        state.part,
        facts=state,
        signature="hangs" if state.overdue else "failing",
    )
