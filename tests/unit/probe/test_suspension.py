"""A machine that sleeps in the middle of a probe: what was read then is set aside, unjudged.

The clocks are injected: nothing here puts a machine to sleep.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.judge import Cause, Grounds, Pace, Status, assess_device
from arraygauge.judge.measured import observe_status
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.suspension import NOTICED_SECONDS, suspended_seconds
from arraygauge.probe.values import Outcome
from arraygauge.theory import MemberRate, Source
from invented import drive, host, measured
from unit.probe.probe_requests import request
from unit.probe.sampled_drive import PATIENT, FakeDrive
from unit.probe.sampled_drive import measured as sampled


def sleeping(*counts: float) -> object:
    """A count of seconds asleep that is so at each look."""
    left = list(counts)
    return lambda: left.pop(0)


def prober(stop: StopToken, *counts: float, command: tuple[str, ...] | None = None) -> Prober:
    made = Prober(stop, command) if command else Prober(stop)
    made.suspended = sleeping(*counts)  # type: ignore[assignment]
    return made


def test_a_burst_across_a_sleep_keeps_its_bytes_and_no_rate(
    stop: StopToken, random_backing: Path
) -> None:
    burst = prober(stop, 100.0, 3700.0).run(request(random_backing))
    assert burst.outcome is Outcome.SUSPENDED
    assert burst.places == ()
    assert burst.latency is None
    assert burst.bytes_read == 64 << 20, "they are counted against the budget"
    assert "was suspended meanwhile" in (burst.detail or "")


def test_a_burst_without_a_sleep_is_as_ever_whatever_the_machine_slept_before(
    stop: StopToken, random_backing: Path
) -> None:
    burst = prober(stop, 3700.0, 3700.0 + NOTICED_SECONDS / 2).run(request(random_backing))
    assert burst.outcome is Outcome.COMPLETED
    assert burst.places


def test_a_drive_that_is_silent_while_the_machine_wakes_does_not_hang(stop: StopToken) -> None:
    """The deadline is by CLOCK_MONOTONIC, which rests in a sleep; drives take their time after."""
    mute = (sys.executable, "-c", "import time; time.sleep(60)")
    asked = request("/dev/null", deadline_seconds=0.3)
    assert prober(stop, 0.0, 0.0, command=mute).run(asked).outcome is Outcome.TIMED_OUT
    assert prober(stop, 0.0, 60.0, command=mute).run(asked).outcome is Outcome.SUSPENDED


def test_a_measurement_that_ends_in_a_sleep_is_marked_and_has_no_rate_to_judge() -> None:
    fake = FakeDrive(endings=[Outcome.GAVE_WAY, Outcome.SUSPENDED], places_before_end=6)
    made = sampled(fake, PATIENT)
    assert made.outcome is Outcome.SUSPENDED
    assert not made.usable
    assert made.bursts == 2, "nothing more is asked of a drive that is being woken"


@pytest.mark.parametrize("outcome", [Outcome.SUSPENDED, Outcome.COMPLETED])
def test_nothing_is_found_on_a_drive_by_a_probe_across_a_sleep(outcome: Outcome) -> None:
    """A tenth of its rating would be an incident, were it not for the sleep; and an open one
    is not over for it either."""
    slow = replace(measured("sda", 5e7), outcome=outcome)
    rating = MemberRate(read_bytes_per_second=5e8, write_bytes_per_second=None, source=Source.RATED)
    alone = drive("sda")
    machine = host([], [alone])
    verdict = assess_device(machine, alone, slow, {}, Grounds(rated={"sda": rating}))
    status = Status(host=machine, arrays=(), devices=(verdict,), seconds=1.0)
    observation = observe_status(status)
    if outcome is Outcome.COMPLETED:
        assert verdict.cause is Cause.SLOWER_THAN_PEERS
        assert len(observation.findings) == len(observation.looked_at or ()) == 1
    else:
        assert verdict.pace is Pace.NOT_MEASURED
        assert (observation.findings, observation.looked_at) == ((), frozenset())


def test_the_count_is_that_of_the_two_clocks_and_stands_still_while_awake() -> None:
    """By clock_gettime(2): CLOCK_BOOTTIME is CLOCK_MONOTONIC and the time suspended."""
    before = suspended_seconds()
    time.sleep(0.1)
    assert abs(suspended_seconds() - before) < 0.01
    boot, monotonic = time.clock_gettime(time.CLOCK_BOOTTIME), time.monotonic()
    assert before == pytest.approx(boot - monotonic, abs=0.05)


def test_a_busy_processor_between_the_readings_is_no_sleep(monkeypatch: pytest.MonkeyPatch) -> None:
    """The process is put off for a second between reading one clock and the other, twice."""
    real, delays = time.clock_gettime, [0.0, 1.0, 0.0, 0.0, 1.0]
    lost = [0.0]

    def late(clock: int) -> float:
        lost[0] += delays.pop(0) if delays else 0.0
        return real(clock) + lost[0]

    before = suspended_seconds()
    monkeypatch.setattr(time, "clock_gettime", late)
    assert abs(suspended_seconds() - before) < 0.01
