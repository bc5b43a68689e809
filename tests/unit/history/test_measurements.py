"""Measurements kept: whole for 90 days of measuring, by the day for five years of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from arraygauge.history import History, MeasurementRecord, Measurements, Memory, Pen, records_of
from arraygauge.history.days import DAY_SECONDS, days_of
from arraygauge.history.measurements import (
    NOT_MADE,
    find_device,
    known_devices,
    measurements_of,
    workload_key,
)
from arraygauge.inventory.values import Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.judge.charts import CusumState
from arraygauge.judge.findings import Cause
from arraygauge.judge.state import Serving
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.theory import SEQUENTIAL_READ
from invented import array, drive, host, measured, member
from unit.history.conftest import InventedClock

NOON = 20_000 * DAY_SECONDS + 43_200


def record(at: float = NOON, **changes: object) -> MeasurementRecord:
    plain = MeasurementRecord(
        stable_id="invented-a",
        name="sda",
        workload="read-sequential-1048576-16",
        started_at_seconds=at,
        outcome="completed",
        bytes_read=10**9,
        seconds=2.0,
        rate=150e6,
        low=149e6,
        high=151e6,
        floor=148e6,
        ceiling=152e6,
        ratio=0.987,
        temperature_celsius=37.0,
        pace="as expected",
        cause=None,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


@pytest.fixture
def measurements(history: History) -> Measurements:
    return Measurements(Pen(history))


def test_a_measurement_comes_back_as_it_was(measurements: Measurements, history: History) -> None:
    made = record(cause="slow member", pace="short of it")
    measurements.add([made])
    assert measurements_of(history, "invented-a") == (made,)


def test_one_added_twice_is_there_once(measurements: Measurements, history: History) -> None:
    measurements.add([record(), record()])
    measurements.add([record()])
    assert len(measurements_of(history, "invented-a")) == 1


def test_a_pass_is_kept_with_what_was_expected_and_what_was_left_alone(
    measurements: Measurements, history: History
) -> None:
    level = array(Level.RAID5, [member(name, slot) for slot, name in enumerate(("a", "b", "c"))])
    machine = host([level])
    attempts: dict[str, Attempt] = {name: measured(name, 20e6) for name in ("a", "b")}
    attempts["c"] = Skipped(device="c", reason=SkipReason.ASLEEP, detail="c: asleep")
    attempts["md0"] = measured("md0", 39e6)
    status = Status(
        host=machine,
        arrays=(assess_array(machine, level, attempts, Grounds()),),
        devices=tuple(
            assess_device(machine, drive(name), attempts[name], {"a": 20e6, "b": 20e6}, Grounds())
            for name in ("a", "b", "c")
        ),
        seconds=1.0,
    )
    measurements.add(records_of(status))
    [whole] = measurements_of(history, "invented-md0")
    assert (whole.rate, whole.workload) == (39e6, workload_key(SEQUENTIAL_READ))
    assert whole.floor is not None
    [asleep] = measurements_of(history, "invented-c")
    assert (asleep.rate, asleep.outcome, asleep.workload) == (None, "asleep", NOT_MADE)


def test_of_two_that_had_a_name_the_later_one_is_meant(
    measurements: Measurements, history: History
) -> None:
    measurements.add([record(), record(NOON + 9, stable_id="invented-b")])
    known = known_devices(history)
    found = find_device(known, "sda")
    assert found is not None
    assert found.stable_id == "invented-b"
    assert find_device(known, "invented-a") is not None
    assert find_device(known, "sdz") is None


def test_a_renamed_drive_is_known_by_its_latest_name(
    measurements: Measurements, history: History
) -> None:
    measurements.add([record(), record(NOON + 9, name="sdq")])
    assert [each.name for each in known_devices(history)] == ["sdq"]


def test_old_days_become_one_row_each_and_keep_their_extremes(
    measurements: Measurements, history: History
) -> None:
    for day in range(100):
        rates = (100e6, 110e6, 150e6)
        measurements.add(
            record(
                NOON + day * DAY_SECONDS + hour * 3600,
                rate=rates[hour],
                temperature_celsius=30.0 + hour,
                pace="short of it" if hour == 0 else "as expected",
            )
            for hour in range(3)
        )
    measurements.prune()
    raw = measurements_of(history, "invented-a")
    assert len(raw) == 90 * 3
    days = list(days_of(history, "invented-a"))
    assert [each.day for each in days] == list(range(20_000, 20_010))
    for each in days:
        assert (each.made, each.rated, each.short, each.bytes_read) == (3, 3, 1, 3 * 10**9)
        assert (each.least, each.median, each.most) == (100e6, 110e6, 150e6)
        assert each.hottest_celsius == 32.0
    before = raw, days
    measurements.prune()
    assert (measurements_of(history, "invented-a"), list(days_of(history, "invented-a"))) == before


def test_a_clock_far_ahead_for_a_while_costs_no_memory(
    measurements: Measurements, history: History
) -> None:
    measurements.add(record(NOON + day * DAY_SECONDS) for day in range(50))
    measurements.add([record(NOON + 9000 * DAY_SECONDS)])
    measurements.prune()
    assert len(measurements_of(history, "invented-a")) == 51


def test_a_day_that_comes_again_is_joined(measurements: Measurements, history: History) -> None:
    """A clock set back writes into days that were rolled up before."""
    measurements.add(record(NOON + day * DAY_SECONDS) for day in range(100))
    measurements.prune()
    measurements.add([record(NOON + 60, rate=90e6), record(NOON + 61, rate=None)])
    measurements.prune()
    first = next(iter(days_of(history, "invented-a")))
    assert (first.made, first.rated, first.least, first.most) == (3, 2, 90e6, 150e6)


def test_five_years_of_days_are_kept(measurements: Measurements, history: History) -> None:
    for day in range(0, 2200, 100):
        measurements.add(record(NOON + (day + i) * DAY_SECONDS) for i in range(100))
    measurements.prune()
    assert len(list(days_of(history, "invented-a"))) == 5 * 366


def test_what_is_remembered_comes_back(history: History, clock: InventedClock) -> None:
    memory = Memory(Pen(history), clock)
    serving = Serving(
        slots={("invented-md0", 0): Cause(stable_id="invented-a", name="sda")},
        arrays={"invented-md0": "md0"},
    )
    assert memory.recall_serving() == Serving()
    memory.remember_serving(serving)
    assert memory.recall_serving() == serving
    states = {"invented-a": CusumState(above=1.5, above_run=3)}
    memory.remember("charts", states, dict[str, CusumState])
    memory.remember("charts", states, dict[str, CusumState])
    assert memory.recall("charts", dict[str, CusumState]) == states


def test_what_was_remembered_in_another_shape_is_forgotten(
    history: History, clock: InventedClock
) -> None:
    memory = Memory(Pen(history), clock)
    memory.remember("charts", {"a": "a word"}, dict[str, str])
    assert memory.recall("charts", dict[str, CusumState]) is None


def test_a_name_nobody_measured_has_no_past(history: History, path: Path) -> None:
    assert measurements_of(history, "nobody") == ()
    assert known_devices(history) == ()
