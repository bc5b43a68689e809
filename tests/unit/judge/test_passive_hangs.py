"""Stalls and hangs: told in time, measured closely, and never made up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.counters import parse_stat
from arraygauge.judge.passive import HangWatch, frames_lost
from arraygauge.judge.passive.hangs import AT_REST_SECONDS, AT_WORK_SECONDS, QUIET_SECONDS
from unit.judge.passive_scenarios import frozen

IDLE = parse_stat("100 0 2000 500 50 0 1000 300 0 700 800")
WAITING = replace(IDLE, in_flight=2)


def test_a_device_at_rest_is_read_every_two_seconds_and_at_work_more_often() -> None:
    rest = HangWatch(device="sdb").with_reading(0, IDLE).with_reading(2, IDLE)
    assert rest.wanted_seconds == AT_REST_SECONDS == 2
    work = rest.with_reading(4, replace(WAITING, reads=120))
    assert work.wanted_seconds == AT_WORK_SECONDS
    assert work.with_reading(4.5, replace(WAITING, reads=120)).wanted_seconds == QUIET_SECONDS


def test_requests_that_wait_three_seconds_are_a_hang_that_goes_on() -> None:
    watch = HangWatch(device="sdb").with_reading(0, IDLE)
    for quarter in range(2, 15):
        watch = watch.with_reading(quarter / 4, WAITING)
    assert watch.stall is not None
    assert (watch.stall.hang, watch.stall.over, watch.stall.in_flight) == (True, False, 2)


def test_a_second_without_completions_is_a_stall_and_no_hang() -> None:
    watch = HangWatch(device="sdb").with_reading(0, IDLE)
    for moment in (0.25, 0.5, 0.75, 1.0, 1.25):
        watch = watch.with_reading(moment, WAITING)
    done = replace(IDLE, reads=102, read_seconds=IDLE.read_seconds + 2 * 1.2)
    watch = watch.with_reading(1.5, done)
    assert watch.stall is not None
    assert (watch.stall.hang, watch.stall.over) == (False, True)
    assert watch.stall.milliseconds == pytest.approx(1200, abs=150)
    assert watch.with_reading(2.0, done).stall is None


def test_completions_between_readings_are_no_stall_whatever_is_in_flight() -> None:
    watch = HangWatch(device="sdb").with_reading(0, WAITING)
    for step in range(1, 20):
        watch = watch.with_reading(step * 0.5, replace(WAITING, flushes=step, reads=100 + step))
        assert watch.stall is None


def test_nothing_in_flight_is_no_hang_however_long() -> None:
    watch = HangWatch(device="sdb")
    for step in range(20):
        watch = watch.with_reading(step * 2, IDLE)
        assert watch.stall is None


def test_sleep_of_the_machine_with_requests_in_flight_is_no_hang() -> None:
    watch = HangWatch(device="sdb").with_reading(0, WAITING).with_reading(0.5, WAITING)
    assert watch.with_reading(3600, WAITING).stall is None


def test_counters_that_start_anew_end_the_watch_without_a_word() -> None:
    watch = HangWatch(device="sdb").with_reading(0, WAITING).with_reading(1, WAITING)
    assert watch.stall is not None
    assert watch.with_reading(1.25, parse_stat("1 0 8 1 0 0 0 0 0 1 1")).stall is None


def test_a_device_that_cannot_be_read_makes_no_stall() -> None:
    watch = HangWatch(device="sdb").with_reading(0, WAITING).with_reading(1, WAITING)
    assert watch.with_reading(1.25, None).stall is None


def test_frames_are_the_stall_times_the_rate() -> None:
    """24 frames a second is 41.7 ms a frame: 417 ms are ten frames."""
    assert frames_lost(0.417, 24) == pytest.approx(10.0, abs=0.01)


@pytest.mark.parametrize("seed", range(6))
def test_a_freeze_under_load_is_told_within_three_seconds_and_measured_within_half(
    seed: int,
) -> None:
    found = frozen(seed, 4 + 3 * seed)
    assert found is not None
    assert found.alarm <= 3.0 + 1e-6
    assert abs(found.stall.seconds - found.truth) <= found.stall.error_seconds <= 0.5


@pytest.mark.parametrize("seed", range(6))
def test_a_freeze_of_a_drive_asked_little_is_told_after_the_next_reading_at_rest(
    seed: int,
) -> None:
    """At rest nothing is read for two seconds, and the request must be seen waiting."""
    found = frozen(seed, 6 + 2 * seed, busy=False)
    assert found is not None
    assert found.alarm <= 5.0
    assert abs(found.stall.seconds - found.truth) <= 0.5
