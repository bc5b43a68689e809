"""Writes are paid for beforehand, by every drive below, or not made at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from arraygauge.history import HistoryError, history_without_file, open_history
from arraygauge.history.problems import HistoryProblem
from arraygauge.probe.own_file import Refusal
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.writes.values import WriteAttempt, WriteOutcome, WriteRequest
from arraygauge.service.purse import Purse
from arraygauge.service.write_purse import WritePurse
from unit.service.write_scene import GB, HOUR, MIB, Clock, machine, purse_over, request, wrote


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def purse(tmp_path: Path, clock: Clock) -> Iterator[Purse]:
    with purse_over(open_history(tmp_path / "history.sqlite"), clock) as made:
        yield made


def never(asked: WriteRequest) -> WriteAttempt:
    raise AssertionError(f"must not write: {asked}")


def written(purse: Purse, name: str) -> int:
    return purse.ledger.written_since(f"invented-{name}", 24 * HOUR)


def spend(
    purse: Purse,
    write: Callable[[WriteRequest], WriteAttempt],
    endurance: dict[str, int] | None = None,
) -> WriteAttempt:
    return WritePurse(purse=purse, endurance=endurance or {}).spend(machine(), request(), write)


def test_both_copies_of_what_was_written_are_charged(purse: Purse) -> None:
    spend(purse, wrote)
    assert [written(purse, name) for name in ("md0", "sda", "sdb")] == [300 * MIB] * 3


def test_while_it_writes_the_most_it_may_is_counted(purse: Purse) -> None:
    """So a kill at any moment leaves the whole of it counted."""
    seen = []

    def write(asked: WriteRequest) -> WriteAttempt:
        seen.append(written(purse, "sda"))
        return wrote(asked)

    spend(purse, write)
    assert seen == [512 * MIB]


def test_of_a_child_that_did_not_tell_what_it_had_begun_is_charged_too(purse: Purse) -> None:
    spend(purse, lambda asked: wrote(asked, outcome=WriteOutcome.ABANDONED))
    assert written(purse, "sda") == (300 + 8) * MIB


def test_no_more_is_allowed_than_the_year_s_share_of_the_weakest_drive(purse: Purse) -> None:
    """0.1 % of 100 GB: 100 MB."""
    allowed = []

    def write(asked: WriteRequest) -> WriteAttempt:
        allowed.append(asked.max_bytes)
        return wrote(asked)

    spend(purse, write, {"invented-sdb": 100 * GB})
    assert allowed == [10**8]


def test_a_year_s_share_that_is_spent_refuses_and_says_what_it_was(purse: Purse) -> None:
    endurance = {"invented-sdb": 100 * GB}
    spend(purse, wrote, endurance)
    refused = spend(purse, never, endurance)
    assert isinstance(refused, Skipped)
    assert refused.reason is SkipReason.BUDGET_SPENT
    assert "a year's share of its endurance, 100 MB, has been written" in refused.detail


def test_without_a_history_on_a_disk_nothing_is_written(clock: Clock) -> None:
    lost = HistoryError(HistoryProblem.FULL, "no room", "make some")
    with purse_over(history_without_file(lost), clock) as purse:
        refused = spend(purse, never)
    assert isinstance(refused, Skipped)
    assert refused.reason is SkipReason.BUDGET_UNKNOWN


def test_nor_while_it_cannot_be_written_down(purse: Purse) -> None:
    purse.ledger.problem = HistoryError(HistoryProblem.FULL, "no room", "make some")
    refused = spend(purse, never)
    assert isinstance(refused, Skipped)
    assert "no room" in refused.detail


def test_the_file_that_is_only_read_is_charged_when_it_is_made(purse: Purse) -> None:
    made = Refusal(detail="full", written_bytes=5 * MIB)
    assert purse.pay_for_file(machine(), "md0", 256 * MIB, lambda: made) is made
    assert written(purse, "sdb") == 5 * MIB
