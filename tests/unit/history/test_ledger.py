"""The ledger: what was spent stays spent, through kills, restarts and clocks that are set."""

from __future__ import annotations

import tempfile
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arraygauge.history import History, Ledger, Token, history_without_file, open_history
from arraygauge.history.problems import HistoryProblem, history_error
from arraygauge.probe.budget import (
    DAY_SECONDS,
    HOUR_SECONDS,
    BudgetLimits,
    Charge,
    allowance,
)
from unit.history.conftest import InventedClock

LIMITS = BudgetLimits(hour_bytes=1000, hour_seconds=60.0, day_bytes=3000, day_seconds=150.0)
YEAR_SECONDS = 365 * DAY_SECONDS


def read(amount: int, busy: float = 0.0, device: str = "a") -> Charge:
    return Charge(device_id=device, read_bytes=amount, busy_seconds=busy)


def moved(ledger: Ledger, seconds: float = DAY_SECONDS, device: str = "a") -> int:
    return sum(each.moved_bytes for each in ledger.spent_since(device, seconds))


def test_a_reservation_counts_from_the_moment_it_is_made(ledger: Ledger) -> None:
    assert ledger.reserve([read(500)]) is not None
    assert moved(ledger) == 500


def test_settling_puts_the_true_cost_in_its_place(ledger: Ledger) -> None:
    token = ledger.reserve([read(500, busy=9.0)])
    assert token is not None
    ledger.settle(token, [read(120, busy=2.0)])
    [entry] = ledger.spent_since("a", HOUR_SECONDS)
    assert (entry.read_bytes, entry.busy_seconds) == (120, 2.0)


def test_settling_twice_counts_once(ledger: Ledger) -> None:
    token = ledger.reserve([read(500)])
    assert token is not None
    for _ in range(2):
        ledger.settle(token, [read(120)])
    assert moved(ledger) == 120


def test_a_burst_that_never_began_costs_nothing(ledger: Ledger) -> None:
    token = ledger.reserve([read(500), read(500, device="b")])
    assert token is not None
    ledger.settle(token, [])
    assert moved(ledger) == moved(ledger, device="b") == 0


def test_a_kill_between_reserving_and_settling_leaves_the_most_counted(
    path: Path, clock: InventedClock
) -> None:
    with open_history(path) as before:
        Ledger(before, clock).reserve([read(800)])
    clock.reboot()
    with open_history(path) as after:
        assert moved(Ledger(after, clock)) == 800


def test_devices_are_counted_apart(ledger: Ledger) -> None:
    ledger.reserve([read(100), read(300, device="b")])
    assert (moved(ledger), moved(ledger, device="b"), moved(ledger, device="c")) == (100, 300, 0)


def test_within_limits_a_burst_that_fits_is_granted_and_one_that_does_not_is_not(
    ledger: Ledger, clock: InventedClock
) -> None:
    assert ledger.reserve([read(700)], LIMITS) is not None
    assert ledger.reserve([read(400)], LIMITS) is None
    assert moved(ledger) == 700
    clock.pass_seconds(HOUR_SECONDS)
    assert ledger.reserve([read(400)], LIMITS) is not None


def test_one_device_that_cannot_bear_it_refuses_the_burst_for_all(ledger: Ledger) -> None:
    ledger.reserve([read(900, device="b")])
    assert ledger.reserve([read(200), read(200, device="b")], LIMITS) is None
    assert moved(ledger) == 0


def test_a_clock_set_ahead_in_the_same_boot_forgets_nothing(
    ledger: Ledger, clock: InventedClock
) -> None:
    ledger.reserve([read(1000)])
    clock.wall_seconds += 30 * DAY_SECONDS
    ledger.prune()
    assert moved(ledger, HOUR_SECONDS) == 1000
    clock.wall_seconds -= 60 * DAY_SECONDS
    assert moved(ledger, HOUR_SECONDS) == 1000
    clock.pass_seconds(HOUR_SECONDS)
    assert moved(ledger, HOUR_SECONDS) == 0


def test_after_a_reboot_an_entry_of_the_future_counts_as_just_begun(
    ledger: Ledger, clock: InventedClock
) -> None:
    """A machine whose clock is lost boots in the past."""
    ledger.reserve([read(1000)])
    clock.reboot()
    clock.wall_seconds -= 3000 * DAY_SECONDS
    [entry] = ledger.spent_since("a", HOUR_SECONDS)
    assert entry.started_at_seconds == clock.wall_seconds
    assert allowance(LIMITS, [entry], clock.wall_seconds).bytes_left == 0


def test_a_clock_lost_and_found_over_two_boots_forgets_nothing(
    ledger: Ledger, clock: InventedClock
) -> None:
    """Far ahead for one boot, in which the entry is rolled up, and right again in the next."""
    ledger.reserve([read(1000)])
    clock.reboot()
    clock.wall_seconds += 3000 * DAY_SECONDS
    ledger.prune()
    assert moved(ledger) == 0
    clock.reboot()
    clock.wall_seconds -= 3000 * DAY_SECONDS - 600
    assert moved(ledger) == 1000


def test_what_a_clock_that_was_ahead_has_dated_does_not_block_for_years(
    ledger: Ledger, clock: InventedClock
) -> None:
    """Spent while the clock was far ahead, looked at with the clock right: it counts for a day
    from then on, and its writes for the year."""
    clock.wall_seconds += 3000 * DAY_SECONDS
    for _ in range(4):
        ledger.reserve([read(700), Charge(device_id="b", written_bytes=50)])
        clock.pass_seconds(DAY_SECONDS)
        ledger.prune()
    ledger.reserve([read(1000)])
    clock.reboot()
    clock.wall_seconds -= 3000 * DAY_SECONDS
    assert ledger.reserve([read(1)], LIMITS) is None
    ledger.prune()
    assert ledger.reserve([read(1)], LIMITS) is None
    clock.pass_seconds(DAY_SECONDS + 1)
    assert ledger.reserve([read(1000)], LIMITS) is not None
    assert ledger.written_since("b", YEAR_SECONDS) == 200


def test_without_a_boot_id_the_wall_clock_serves(path: Path) -> None:
    clock = InventedClock(boot_id=None)
    with open_history(path) as opened:
        ledger = Ledger(opened, clock)
        ledger.reserve([read(100)])
        clock.pass_seconds(HOUR_SECONDS - 1)
        assert moved(ledger, HOUR_SECONDS) == 100
        clock.pass_seconds(2)
        assert moved(ledger, HOUR_SECONDS) == 0


def test_old_entries_become_one_row_a_day_and_lose_nothing(
    ledger: Ledger, history: History, clock: InventedClock
) -> None:
    for _ in range(10 * 24):
        ledger.reserve([Charge(device_id="a", written_bytes=7), read(5, device="b")])
        clock.pass_seconds(HOUR_SECONDS)
    ledger.prune()
    with history.reading() as connection:
        [(raw,)] = connection.execute("SELECT count(*) FROM spending")
        [(days,)] = connection.execute("SELECT count(*) FROM spending_day")
    assert raw == 2 * 48
    assert days in (2 * 8, 2 * 9)
    assert ledger.written_since("a", YEAR_SECONDS) == 10 * 24 * 7
    assert ledger.written_since("b", YEAR_SECONDS) == 0
    assert moved(ledger, YEAR_SECONDS, "b") == 10 * 24 * 5
    assert moved(ledger, DAY_SECONDS, "b") == 23 * 5  # the 24th ended a whole day ago


def test_a_year_s_writes_are_remembered_and_older_ones_are_not(
    ledger: Ledger, history: History, clock: InventedClock
) -> None:
    for _ in range(500):
        ledger.reserve([Charge(device_id="a", written_bytes=1)])
        clock.pass_seconds(DAY_SECONDS)
        ledger.prune()
    with history.reading() as connection:
        [(days,)] = connection.execute("SELECT count(*) FROM spending_day")
    assert days == 400
    assert ledger.written_since("a", YEAR_SECONDS) in (365, 366)


def test_boots_nothing_refers_to_are_forgotten(
    ledger: Ledger, history: History, clock: InventedClock
) -> None:
    for _ in range(5):
        ledger.reserve([read(1)])
        clock.reboot()
        clock.pass_seconds(3 * DAY_SECONDS)
        ledger.prune()
    with history.reading() as connection:
        assert connection.execute("SELECT count(*) FROM boot").fetchone() == (0,)


def test_threads_that_ask_at_once_never_get_more_than_there_is(ledger: Ledger) -> None:
    granted: list[Token] = []

    def ask() -> None:
        for _ in range(20):
            token = ledger.reserve([read(10)], LIMITS)
            if token is not None:
                granted.append(token)

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(granted) == 100
    assert moved(ledger) == 1000


def test_two_processes_see_each_other_s_reservations(path: Path, clock: InventedClock) -> None:
    """A check run by hand beside the daemon: two connections to one file."""
    with open_history(path) as one, open_history(path) as other:
        daemon, check = Ledger(one, clock), Ledger(other, clock)
        assert daemon.reserve([read(600)], LIMITS) is not None
        assert check.reserve([read(600)], LIMITS) is None


def test_in_memory_it_says_so_and_counts_all_the_same(clock: InventedClock) -> None:
    reason = history_error(Path("/invented/h"), HistoryProblem.FULL, "no space left")
    with history_without_file(reason) as history:
        assert history.path is None
        [note] = history.notes
        assert "/invented/h: no space left" in note
        assert "forgotten when this program ends" in note
        ledger = Ledger(history, clock)
        assert ledger.reserve([read(600)], LIMITS) is not None
        assert ledger.reserve([read(600)], LIMITS) is None


def test_from_memory_to_a_file_the_spending_goes_along(path: Path, clock: InventedClock) -> None:
    reason = history_error(path, HistoryProblem.FULL, "no space left")
    with history_without_file(reason) as memory:
        ledger = Ledger(memory, clock)
        token = ledger.reserve([read(600), read(70, device="b")])
        assert token is not None
        ledger.move_to(open_history(path))
        ledger.settle(token, [read(500), read(60, device="b")])
    with open_history(path) as later:
        assert moved(Ledger(later, clock)) == 500
        assert moved(Ledger(later, clock), device="b") == 60


steps = st.lists(
    st.one_of(
        st.tuples(st.just("burst"), st.integers(1, 700), st.integers(0, 100)),
        st.tuples(st.just("killed"), st.integers(1, 700), st.just(0)),
        st.tuples(st.just("wait"), st.integers(0, 4000), st.just(0)),
        st.tuples(st.just("restart"), st.just(0), st.just(0)),
        st.tuples(st.just("clock"), st.integers(-200_000, 200_000), st.just(0)),
        st.tuples(st.just("prune"), st.just(0), st.just(0)),
    ),
    max_size=30,
)


@settings(max_examples=40, deadline=None)
@given(steps)
def test_no_window_of_true_time_holds_more_than_its_limit(
    script: list[tuple[str, int, int]],
) -> None:
    """Bursts, kills in mid-burst, restarts and clocks set either way, in any order; what truly
    moved is written down beside, by a clock that nobody sets."""
    clock = InventedClock()
    truth: list[tuple[float, int]] = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "h"
        history = open_history(path)
        ledger = Ledger(history, clock)
        for action, amount, percent in script:
            if action in ("burst", "killed"):
                token = ledger.reserve([read(amount)], LIMITS)
                if token is not None:
                    cost = amount * percent // 100 if action == "burst" else amount
                    truth.append((clock.uptime_seconds, cost))
                    if action == "burst":
                        ledger.settle(token, [read(cost)])
            elif action == "wait":
                clock.pass_seconds(amount)
            elif action == "clock":
                clock.wall_seconds += amount
            elif action == "prune":
                ledger.prune()
            else:
                history.close()
                history = open_history(path)
                ledger = Ledger(history, clock)
        history.close()
    for window, most in ((HOUR_SECONDS, 1000), (DAY_SECONDS, 3000)):
        for begin, _ in truth:
            inside = [cost for at, cost in truth if begin <= at < begin + window]
            assert sum(inside) <= most


@pytest.mark.parametrize("attempt", range(3))
def test_pruning_at_any_time_changes_no_sum(
    ledger: Ledger, clock: InventedClock, attempt: int
) -> None:
    for step in range(60):
        ledger.reserve([Charge(device_id="a", written_bytes=step)])
        clock.pass_seconds(HOUR_SECONDS * (1 + attempt))
        before = ledger.written_since("a", YEAR_SECONDS), moved(ledger)
        ledger.prune()
        assert (ledger.written_since("a", YEAR_SECONDS), moved(ledger)) == before
