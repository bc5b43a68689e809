"""When passes are made: on schedule by a clock that counts sleep, sooner when asked, never
twice at once."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, cast

import pytest

from arraygauge.config import Configuration
from arraygauge.config.model import RunSection
from arraygauge.probe.stop import StopToken
from arraygauge.service.parts import Pulse
from arraygauge.service.passes import LEAST_PAUSE_SECONDS, RETRY_SECONDS, Passes
from arraygauge.service.survey import Surveyor

HOUR = 3600.0


class Hosts:
    def close(self) -> None:
        """There is no process behind it."""


@dataclass(frozen=True)
class FakeSurveyor:
    """Counts its passes; fails while told to."""

    configuration: Configuration
    made: list[float]
    now: list[float]
    failing: threading.Event = field(default_factory=threading.Event)
    hosts: Hosts = field(default_factory=Hosts)

    def survey(self, progress: Callable[[str, int, int], None]) -> Any:
        self.made.append(self.now[0])
        if self.failing.is_set():
            raise RuntimeError("invented failure")
        return "status"


def hourly(seconds: float = HOUR) -> Configuration:
    return Configuration(run=RunSection(interval_seconds=seconds))


class Scene:
    """Passes in a thread, by a clock that is set by hand. Each change of it is shown to them as
    the kernel would by waking the waiting thread."""

    def __init__(self) -> None:
        self.stop = StopToken()
        self.now = [1000.0]
        self.made: list[float] = []
        self.statuses: list[Any] = []
        self.failures: list[int] = []
        self.surveyor = FakeSurveyor(hourly(), self.made, self.now)
        self.passes = Passes(
            cast(Surveyor, self.surveyor),
            self.stop,
            self.statuses.append,
            lambda: self.failures.append(1),
            lambda: self.now[0],
        )
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.pulse = Pulse("passes", lambda: None, lambda: self.now[0])
        self.thread.start()

    def _run(self) -> None:
        while not self.stop.is_set():
            try:
                self.passes.run(self.pulse)
            except RuntimeError as error:
                self.pulse.fail(str(error))

    def after(self, seconds: float) -> int:
        """How many passes were made by then."""
        self.now[0] += seconds
        self.passes.look_at_clock()
        time.sleep(0.1)
        return len(self.made)


@pytest.fixture
def scene() -> Iterator[Scene]:
    made = Scene()
    assert made.after(0) == 1, "the first at once"
    yield made
    made.stop.set()
    made.thread.join(5)
    assert not made.thread.is_alive()


def test_the_next_is_an_interval_after_the_last_whether_the_machine_slept_or_not(
    scene: Scene,
) -> None:
    """The clock is CLOCK_BOOTTIME: after eight hours asleep one pass is due, not eight."""
    assert scene.after(HOUR - 1) == 1
    assert scene.after(1) == 2
    assert scene.after(8 * HOUR) == 3
    assert scene.after(1) == 3
    assert scene.statuses == ["status"] * 3


def test_who_asks_for_one_gets_it_once_and_not_more_often_than_every_minute(scene: Scene) -> None:
    scene.passes.wake_pass()
    scene.passes.wake_pass()
    assert scene.after(LEAST_PAUSE_SECONDS - 1) == 1
    assert scene.after(1) == 2
    assert scene.after(LEAST_PAUSE_SECONDS) == 2
    assert scene.after(HOUR) == 3


def test_a_pass_that_fails_is_tried_again_sooner_than_on_schedule_but_not_at_once(
    scene: Scene,
) -> None:
    scene.surveyor.failing.set()
    assert scene.after(HOUR) == 2
    assert (scene.pulse.state.failures, len(scene.failures)) == (1, 1)
    assert scene.after(RETRY_SECONDS - 1) == 2
    scene.surveyor.failing.clear()
    assert scene.after(1) == 3
    assert not scene.pulse.state.troubled


def test_a_shorter_interval_counts_from_the_last_pass(scene: Scene) -> None:
    assert scene.after(100) == 1
    scene.passes.reconfigure(hourly(120))
    assert scene.after(19) == 1
    assert scene.after(1) == 2
    assert scene.after(120) == 3
