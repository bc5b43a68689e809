"""What a pass's verdicts become: told at once where it is plain, at the second pass where rates
might only have strayed, and once for each cause."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from arraygauge.judge.findings import Matter, Severity
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.judge.measured import observe_status
from unit.judge.drifting_machine import Machine

EXACT = Machine(spread=0.0)


def open_after(*passes: Mapping[str, float]) -> list[tuple[str, Matter, Severity]]:
    """Incidents that are open after these passes, each with shares by which something was slow."""
    book = IncidentBook()
    for moment, slower in enumerate(passes):
        book, _ = advance(book, observe_status(EXACT.status(slower)), 3600.0 * moment)
    return [
        (each.finding.cause.name, each.finding.matter, each.finding.severity) for each in book.open
    ]


def test_a_member_slowed_by_thirty_per_cent_is_told_at_once_and_its_array_is_not() -> None:
    assert open_after({"sdb": 0.3}) == [("sdb", Matter.SLOW_MEMBER, Severity.MAJOR)]


@pytest.mark.parametrize("share", [0.09, 0.12, 0.17])
def test_a_member_a_little_slow_is_told_at_the_second_pass_in_a_row(share: float) -> None:
    slow = {"sdb": share}
    assert open_after(slow) == []
    assert open_after(slow, {}, slow) == []
    assert open_after(slow, slow) == [("sdb", Matter.SLOW_MEMBER, Severity.MAJOR)]


def test_an_array_plainly_slower_than_its_members_allow_is_told_at_once() -> None:
    assert open_after({"md0": 0.3}) == [("md0", Matter.SLOW_ARRAY, Severity.MINOR)]


def test_an_array_a_little_slow_is_told_at_the_second_pass_in_a_row() -> None:
    slow = {"md0": 0.1}
    assert open_after(slow) == []
    assert open_after(slow, slow) == [("md0", Matter.SLOW_ARRAY, Severity.MINOR)]


def test_what_is_open_stays_open_however_little_is_left_of_it() -> None:
    assert open_after({"md0": 0.3}, {"md0": 0.08}) == [("md0", Matter.SLOW_ARRAY, Severity.MINOR)]


def test_an_array_that_a_drifting_member_explains_is_not_told() -> None:
    """Two members lag alike, so that neither accounts for most of it; one is known to drift."""
    status = EXACT.status({"sdb": 0.1, "sdc": 0.09})
    [found] = observe_status(status).findings
    assert found.matter is Matter.SLOW_ARRAY
    assert observe_status(status, {"invented-sdb"}).findings == ()
    shared = EXACT.status({"md0": 0.1})
    assert observe_status(shared, {"invented-sdb"}).findings != ()


def test_it_speaks_only_for_what_it_measured() -> None:
    status = EXACT.status()
    left = replace(status, devices=status.devices[1:])
    looked_at = observe_status(left).looked_at
    assert looked_at is not None
    assert "invented-sda" not in looked_at
    assert {"invented-sdb", "invented-md0"} <= looked_at
