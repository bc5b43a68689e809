"""The past as it is drawn: in so many stretches, whatever is kept whole and whatever by the day."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

import pytest

from arraygauge.history import History, HistoryError, Measurements, Pen
from arraygauge.history.days import DAY_SECONDS
from arraygauge.history.trend import (
    incident_spans,
    last_change,
    open_for_looking,
    sized_rates,
    stretches_of,
    usual_workload,
)
from unit.history.test_measurements import NOON, record

DEVICE, WORKLOAD = "invented-a", "read-sequential-1048576-16"


def add_incidents(history: History, count: int, *, closed: bool, arrays: str = '["md0"]') -> None:
    """Straight into the table: how an incident gets there is the keeper's matter."""
    with history.transaction() as connection:
        connection.execute("INSERT OR IGNORE INTO device (id, stable_id) VALUES (77, 'cause')")
        first = connection.execute("SELECT coalesce(max(number), 0) FROM incident").fetchone()[0]
        connection.executemany(
            "INSERT INTO incident VALUES (?, 77, 'sda', 'state', 'slow member', ?, 2, ?, '', '[]',"
            " NULL, 0, ?, ?, ?, ?, 0, ?, '{}')",
            (
                (
                    first + each + 1,
                    each % 4,
                    arrays,
                    NOON + each,
                    NOON + each,
                    NOON + each,
                    NOON + each + 0.5 if closed else None,
                    f"incident {each}",
                )
                for each in range(count)
            ),
        )


def test_stretches_hold_the_mean_and_both_ends(history: History) -> None:
    rates = (100e6, 200e6, 150e6, 50e6)
    Measurements(Pen(history)).add(
        record(at=NOON + 100 * each, rate=rate) for each, rate in enumerate(rates)
    )
    first, second = stretches_of(history, DEVICE, WORKLOAD, (NOON, NOON + 400), 3)
    assert (first.measurements, first.least, first.mean, first.most) == (2, 100e6, 150e6, 200e6)
    assert (second.least, second.most) == (50e6, 150e6)
    assert first.at_seconds == pytest.approx(NOON + 50)
    assert (first.floor, first.ceiling) == (148e6, 152e6)


def test_days_kept_as_one_row_count_for_all_that_were_measured(history: History) -> None:
    measurements = Measurements(Pen(history))
    measurements.add(
        record(at=NOON + day * DAY_SECONDS + hour, rate=100e6 + hour * 1e6)
        for day in range(100)
        for hour in range(3)
    )
    measurements.prune()
    window = (NOON - DAY_SECONDS, NOON + 101 * DAY_SECONDS)
    found = stretches_of(history, DEVICE, WORKLOAD, window, 240)
    assert sum(each.measurements for each in found) == 300
    assert {(each.least, each.mean, each.most) for each in found} == {(100e6, 101e6, 102e6)}


def test_another_devices_and_another_works_rates_are_left_out(history: History) -> None:
    Measurements(Pen(history)).add(
        [
            record(),
            record(stable_id="invented-b"),
            record(workload="write-sequential-1048576-16"),
            record(at=NOON + 1, rate=None),
        ]
    )
    [found] = stretches_of(history, DEVICE, WORKLOAD, (NOON - 10, NOON + 10), 3)
    assert found.measurements == 1
    assert usual_workload(history, DEVICE) == WORKLOAD
    assert usual_workload(history, "nobody") is None


def test_the_latest_rate_of_each_size_is_found(history: History) -> None:
    Measurements(Pen(history)).add(
        [
            record(rate=1e6, workload="read-sequential-65536-8"),
            record(at=NOON + 1, rate=2e6, workload="read-sequential-65536-8"),
            record(rate=3e6, workload="read-sequential-1048576-8"),
            record(rate=4e6, workload="read-sequential-4096-8-file"),
            record(rate=5e6, workload="read-random-4096-8"),
        ]
    )
    found = [(each.transfer_bytes, each.bytes_per_second) for each in sized_rates(history, DEVICE)]
    assert found == [(65536, 2e6), (1048576, 3e6)]


@pytest.mark.measures
def test_of_ten_thousand_incidents_those_that_matter_come_first_and_soon(history: History) -> None:
    add_incidents(history, 10_000, closed=True)
    add_incidents(history, 8, closed=False)
    began = time.perf_counter()
    found, total = incident_spans(history, ("md0", "x"), (0.0, NOON * 2), 20)
    took = time.perf_counter() - began
    assert total == 10_008
    assert [int(each.severity) for each in found[:8]] == [3, 3, 2, 2, 1, 1, 0, 0]
    newest = [each.opened_at_seconds for each in found[8:]]
    assert newest == sorted(newest, reverse=True)
    assert len(found) == 20
    print(f"{took * 1e3:.1f} ms")
    assert took <= 0.030


def test_an_arrays_incidents_are_those_that_name_it_or_are_of_it(history: History) -> None:
    add_incidents(history, 1, closed=False, arrays='["md0", "md1"]')
    window = (0.0, NOON * 2)
    assert incident_spans(history, ("md1", "x"), window, 9)[1] == 1
    assert incident_spans(history, ("md", "x"), window, 9)[1] == 0
    assert incident_spans(history, ("md9", "cause"), window, 9)[1] == 1
    assert incident_spans(history, None, (NOON * 2, NOON * 3), 9)[1] == 1, "it is still open"


@pytest.mark.measures
def test_a_year_of_twelve_drives_is_asked_within_thirty_milliseconds(history: History) -> None:
    """Hourly passes: 90 days whole, the rest by the day."""
    measurements = Measurements(Pen(history))
    for drive in range(12):
        measurements.add(
            record(at=NOON + hour * 3600.0, stable_id=f"invented-{drive}")
            for hour in range(365 * 24)
        )
    measurements.prune()
    end = NOON + 365 * DAY_SECONDS
    began = time.perf_counter()
    found = stretches_of(history, "invented-3", WORKLOAD, (NOON, end), 240)
    took = time.perf_counter() - began
    print(f"{took * 1e3:.1f} ms for {sum(each.measurements for each in found)} measurements")
    assert took <= 0.030


def test_whoever_looks_sees_what_was_written_and_cannot_write(history: History, path: Path) -> None:
    with open_for_looking(path) as looking:
        assert last_change(looking) == 0
        Measurements(Pen(history)).add([record()])
        assert usual_workload(looking, DEVICE) == WORKLOAD
        with (
            pytest.raises((HistoryError, sqlite3.OperationalError)),
            looking.transaction() as connection,
        ):
            connection.execute("DELETE FROM measurement")
        assert usual_workload(history, DEVICE) == WORKLOAD


def test_a_history_that_is_not_there_is_told_of_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(HistoryError):
        open_for_looking(tmp_path / "none.sqlite")
    assert not (tmp_path / "none.sqlite").exists()
