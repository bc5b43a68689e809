"""Parts of the agent: each fails, hangs and recovers alone, and that is told."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from arraygauge.judge.findings import Matter, Origin
from arraygauge.probe.stop import StopToken
from arraygauge.service import parts as parts_module
from arraygauge.service.parts import PAUSE_SECONDS, Part, Parts, Pulse, finding_of
from arraygauge.tell.incident_reasons import reason_of


@pytest.fixture
def stop() -> Iterator[StopToken]:
    token = StopToken()
    yield token
    token.set()


@pytest.fixture(autouse=True)
def _hurried(monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    monkeypatch.setattr(parts_module, "PAUSE_SECONDS", (0.01,) * len(PAUSE_SECONDS))
    caplog.set_level(logging.CRITICAL)


def resting(stop: StopToken) -> Callable[[Pulse], None]:
    """A part that does its work once and waits."""

    def run(pulse: Pulse) -> None:
        pulse.well()
        pulse.rest()
        stop.wait(None)

    return run


def waiting(event: threading.Event) -> None:
    event.wait()


def until(true: Callable[[], bool], seconds: float = 5.0) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.005)


def test_a_part_that_fails_is_started_again_alone_and_is_in_trouble_until_it_works(
    stop: StopToken,
) -> None:
    attempts: list[str] = []
    steady: list[int] = []
    may_work = threading.Event()
    news: list[int] = []

    def failing(pulse: Pulse) -> None:
        attempts.append(threading.current_thread().name)
        if not may_work.is_set():
            raise RuntimeError("invented failure\nwith a second line")
        resting(stop)(pulse)

    def other(pulse: Pulse) -> None:
        steady.append(1)
        resting(stop)(pulse)

    parts = Parts(
        [Part(name="failing", run=failing), Part(name="other", run=other)],
        stop,
        lambda: news.append(1),
    )
    parts.start()
    until(lambda: len(attempts) >= 3)
    [state] = parts.troubles
    assert (state.part, state.last_error) == ("failing", "RuntimeError: invented failure")
    finding = finding_of(state)
    assert (finding.origin, finding.matter) == (Origin.AGENT, Matter.AGENT_IMPAIRED)
    assert "invented failure" in reason_of(finding)
    assert set(attempts) == {"failing"}, "always in the thread of that name"
    may_work.set()
    until(lambda: not parts.troubles)
    assert steady == [1], "nothing else was started again"
    assert len(news) >= 4, "each failure, and the end of them"
    stop.set()
    assert parts.end(2) == ()


def test_a_part_that_ends_by_itself_or_with_the_program_is_started_again_too(
    stop: StopToken,
) -> None:
    ways: list[str] = []

    def ending(pulse: Pulse) -> None:
        ways.append("again")
        if len(ways) == 1:
            return
        if len(ways) == 2:
            raise SystemExit("as a library does whose output closed")
        resting(stop)(pulse)

    parts = Parts([Part(name="ending", run=ending)], stop, lambda: None)
    parts.start()
    until(lambda: len(ways) == 3)
    until(lambda: not parts.troubles)


def test_pauses_grow_with_failures_of_late_even_where_it_works_between_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(parts_module, "PAUSE_SECONDS", PAUSE_SECONDS)
    now = [0.0]
    pulse = Pulse("invented", lambda: None, lambda: now[0])
    pauses = []
    for _ in range(7):
        pauses.append(pulse.fail("invented"))
        pulse.well()
        now[0] += 10
    assert pauses == [1, 2, 5, 15, 60, 60, 60]
    now[0] += 601
    assert pulse.fail("invented") == 1


def test_a_part_that_is_not_heard_of_in_time_is_overdue_and_one_at_rest_never() -> None:
    now = [0.0]
    pulse = Pulse("invented", lambda: None, lambda: now[0])
    pulse.busy(10)
    now[0] = 9.0
    assert not pulse.state.troubled
    now[0] = 11.0
    assert pulse.state.overdue
    assert "has not been heard of" in reason_of(finding_of(pulse.state))
    pulse.rest()
    now[0] = 1e9
    assert not pulse.state.troubled


def test_parts_that_hold_on_are_left_behind_within_the_time_given(stop: StopToken) -> None:
    forever = threading.Event()
    parts = Parts(
        [
            Part(name="stuck", run=lambda _: waiting(forever)),
            Part(name="other", run=resting(stop)),
        ],
        stop,
        lambda: None,
    )
    parts.start()
    stop.set()
    began = time.monotonic()
    assert parts.end(0.3) == ("stuck",)
    assert time.monotonic() - began < 0.6
    forever.set()


def test_a_part_that_waits_for_something_of_its_own_is_woken_at_the_end(stop: StopToken) -> None:
    own = threading.Event()
    parts = Parts([Part(name="own", run=lambda _: waiting(own), wake=own.set)], stop, lambda: None)
    parts.start()
    stop.set()
    assert parts.end(2) == ()
