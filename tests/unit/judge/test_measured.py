"""What a pass's verdicts become: told at once where it is plain, at the second pass where rates
might only have strayed, and once for each cause."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from arraygauge.judge.findings import Matter, Severity
from arraygauge.judge.incidents import ChangeKind, IncidentBook, advance
from arraygauge.judge.measured import observe_status
from invented import measured
from unit.judge.drifting_machine import RATE, Machine

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


def test_what_is_open_stays_open_though_a_milder_one_would_take_more_looks() -> None:
    """Where rates stray by 4 %, 60 % less is no chance, and 9 % less may be."""
    strays, book = {"md0": 0.04}, IncidentBook()
    for moment, share in enumerate((0.6, 0.09, 0.09)):
        found = observe_status(EXACT.status({"md0": share}), (), strays)
        book, changes = advance(book, found, 3600.0 * moment)
        assert [each.kind for each in changes] == ([ChangeKind.OPENED] if moment == 0 else [])
    mild = observe_status(EXACT.status({"md0": 0.09}), (), strays)
    assert advance(IncidentBook(), mild, 0.0)[0].open == ()


FEW_PLACES = {"low_bytes_per_second": None, "high_bytes_per_second": None}
"""As of a measurement that was cut short: a rate without an interval."""


@pytest.mark.parametrize("slow", [{"md0": 0.5}, {"sdb": 0.5}])
def test_a_rate_of_too_few_places_is_believed_at_the_third_pass_in_a_row(
    slow: Mapping[str, float],
) -> None:
    book, found = IncidentBook(), list[int]()
    for moment in range(3):
        status = EXACT.status(slow, **FEW_PLACES)
        book, _ = advance(book, observe_status(status), 3600.0 * moment)
        found.append(len(book.open))
    assert found == [0, 0, 1]


@pytest.mark.parametrize(("high", "looks"), [(0.8, 1), (0.9, 3)])
def test_a_member_whose_interval_reaches_its_peers_is_believed_as_late(
    high: float, looks: int
) -> None:
    """30 % slower, by an interval that ends below 85 % of what its peers do, or above."""
    status = EXACT.status({"sdb": 0.3})
    read = replace(
        measured("sdb", 0.7 * RATE),
        low_bytes_per_second=0.5 * RATE,
        high_bytes_per_second=high * RATE,
    )
    unsure = [
        replace(verdict, attempt=read) if verdict.device.name == "sdb" else verdict
        for verdict in status.devices
    ]
    [found] = observe_status(replace(status, devices=tuple(unsure))).findings
    assert (found.matter, found.looks) == (Matter.SLOW_MEMBER, looks)


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
