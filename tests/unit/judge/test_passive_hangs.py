"""Stalls and hangs: told in time, measured closely, and never made up."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from arraygauge.inventory.counters import IoCounters, parse_stat
from arraygauge.judge.passive import HangWatch, Stall, frames_lost
from arraygauge.judge.passive.hangs import (
    AT_REST_SECONDS,
    AT_WORK_SECONDS,
    HANG_SECONDS,
    QUIET_SECONDS,
    TOLD_AFTER_SECONDS,
)
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
def test_a_freeze_of_a_drive_asked_little_is_told_and_measured_as_well(seed: int) -> None:
    found = frozen(seed, 6 + 2 * seed, busy=False)
    assert found is not None
    assert found.alarm <= 3.0
    assert abs(found.stall.seconds - found.truth) <= 0.5


@dataclass(frozen=True)
class Told:
    """When the word hang came, from the last completion, or the request after a rest; the gaps
    between readings before the fault; and the stall once it was over."""

    after: float
    gaps: tuple[float, ...]
    stall: Stall


def stopping(at: float, *, works: float = 0.0, counts: bool = True, lasts: float = 9.0) -> Told:
    """A drive at rest that gets work at ``at``, does it for ``works`` seconds and then stands
    still. ``counts``: the kernel counts busy time while requests wait, when it is read."""
    stops, resumes = at + works, at + works + lasts

    def counters(moment: float) -> IoCounters:
        done = round(100 * max(0.0, min(moment, stops) - at)) + 3 * (moment >= resumes)
        waiting = at <= moment < resumes
        until = min(moment, resumes) if counts or moment >= resumes else min(moment, stops)
        return replace(
            IDLE,
            reads=100 + done,
            read_seconds=0.5 + done * 0.03 + (3 * lasts if moment >= resumes else 0),
            busy_seconds=IDLE.busy_seconds + max(0.0, until - at),
            in_flight=3 if waiting else 0,
        )

    watch, moment, told = HangWatch(device="sdb"), 0.0, None
    gaps: list[float] = []
    while True:
        watch = watch.with_reading(moment, counters(moment))
        if watch.stall is not None and watch.stall.hang:
            told = moment - stops if told is None else told
            if watch.stall.over:
                return Told(told, tuple(gaps), watch.stall)
        if moment + watch.wanted_seconds < at:
            gaps.append(watch.wanted_seconds)
        moment += watch.wanted_seconds


STARTS = [10 + step * 0.13 for step in range(16)]


@pytest.mark.parametrize("at", STARTS)
def test_a_drive_that_freezes_at_its_first_request_after_a_rest_is_told_within_three_seconds(
    at: float,
) -> None:
    """The busy time tells how long the request has waited when it is first seen."""
    told = stopping(at)
    assert set(told.gaps) == {AT_REST_SECONDS}, "at rest it is not read more often"
    assert TOLD_AFTER_SECONDS - 0.1 <= told.after <= HANG_SECONDS
    assert told.stall.seconds == pytest.approx(9.0, abs=0.3)
    assert told.stall.rested_seconds == pytest.approx(at - 2, abs=0.1), "seen twice by then"


@pytest.mark.parametrize("at", STARTS)
@pytest.mark.parametrize("works", [0.3, 1.1, 1.9])
def test_one_that_freezes_soon_after_a_rest_is_told_within_three_seconds_of_its_last_completion(
    at: float, works: float
) -> None:
    told = stopping(at, works=works)
    assert 1.0 <= told.after <= HANG_SECONDS
    assert told.stall.seconds == pytest.approx(9.0, abs=0.5)
    assert abs(told.stall.seconds - 9.0) <= told.stall.error_seconds + 0.05


@pytest.mark.parametrize("at", STARTS)
@pytest.mark.parametrize("works", [0.0, 1.1])
def test_where_the_kernel_does_not_count_a_wait_the_word_comes_at_most_one_look_at_rest_later(
    at: float, works: float
) -> None:
    """Linux 5.0 to 5.18: nothing tells how long a request has waited when it is first seen, and
    a hang is told when it has surely lasted for 2.25 s."""
    told = stopping(at, works=works, counts=False)
    assert 2.0 <= told.after <= TOLD_AFTER_SECONDS - AT_WORK_SECONDS + AT_REST_SECONDS
    assert told.stall.seconds == pytest.approx(9.0, abs=0.5)


def test_a_stall_of_two_seconds_after_a_rest_is_no_hang() -> None:
    for at in STARTS:
        watch = HangWatch(device="sdb")
        moment = 0.0
        while moment < at + 20:
            waits = at <= moment < at + 2
            busy = IDLE.busy_seconds + max(0.0, min(moment, at + 2) - at)
            done = 102 if moment >= at + 2 else 100
            reading = replace(IDLE, in_flight=2 * waits, busy_seconds=busy, reads=done)
            watch = watch.with_reading(moment, reading)
            assert watch.hang is None
            moment += watch.wanted_seconds


def test_a_hang_that_is_over_is_told_with_its_length_for_half_a_minute() -> None:
    watch = HangWatch(device="sdb").with_reading(0, WAITING)
    for quarter in range(1, 17):
        watch = watch.with_reading(quarter / 4, WAITING)
    done = replace(IDLE, reads=102, read_seconds=IDLE.read_seconds + 8)
    watch = watch.with_reading(4.25, done)
    assert watch.hang is not None
    assert watch.hang.over
    for moment in range(6, 34, 2):
        watch = watch.with_reading(moment, done)
        assert watch.stall is None
        assert watch.hang is not None
    for moment in range(34, 40, 2):
        watch = watch.with_reading(moment, done)
    assert watch.hang is None
