"""A write is held against the members' declared write rates, and speaks only for itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from arraygauge.inventory.values import Host, Level
from arraygauge.judge import Grounds, Pace, Status, WriteVerdict, assess_write, observe_writes
from arraygauge.judge.findings import Matter, Origin
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.writes.cliff import Cliff
from arraygauge.probe.writes.values import WriteMeasurement, WriteOutcome
from arraygauge.theory import MemberRate, Source, Workload
from arraygauge.theory.values import Direction
from invented import array, drive, host, measured, member

RATE = 100e6
MIRROR = host([array(Level.RAID1, [member("sda", 0), member("sdb", 1)])])
RATED = Grounds(
    rated={
        name: MemberRate(
            read_bytes_per_second=RATE, write_bytes_per_second=RATE, source=Source.RATED
        )
        for name in ("sda", "sdb")
    }
)


def wrote(bytes_per_second: float | None, **changes: Any) -> WriteMeasurement:
    plain = WriteMeasurement(
        device="md0",
        outcome=WriteOutcome.COMPLETED,
        detail=None,
        workload=Workload(direction=Direction.WRITE),
        started_at_seconds=0.0,
        seconds=1.0,
        bytes_written=1 << 28,
        filled_bytes=0,
        bytes_per_second=bytes_per_second,
    )
    return replace(plain, **changes)


def judged(
    attempt: WriteMeasurement | Skipped, grounds: Grounds = RATED, snapshot: Host = MIRROR
) -> WriteVerdict:
    attempts = {name: measured(name, RATE) for name in ("sda", "sdb", "sdc", "md0")}
    return assess_write(snapshot, attempt.device, attempt, attempts, grounds)


@pytest.mark.parametrize(
    ("share", "pace"), [(0.97, Pace.AS_EXPECTED), (0.9, Pace.SHORT), (1.3, Pace.ABOVE)]
)
def test_a_mirror_writes_as_fast_as_one_of_its_drives(share: float, pace: Pace) -> None:
    """Each byte goes to both at once: arithmetic."""
    verdict = judged(wrote(share * RATE))
    assert verdict.pace is pace
    assert verdict.ratio == pytest.approx(share)


def test_with_a_cliff_the_rate_before_it_is_what_a_rating_speaks_of() -> None:
    cliff = Cliff(before_bytes_per_second=99e6, after_bytes_per_second=20e6, after_bytes=1 << 27)
    assert judged(wrote(40e6, cliff=cliff)).pace is Pace.AS_EXPECTED


def test_without_declared_write_rates_nothing_is_short_of_what_reading_suggests() -> None:
    verdict = judged(wrote(10e6), Grounds())
    assert verdict.as_reading
    assert (verdict.pace, verdict.ratio) == (Pace.NO_REFERENCE, None)
    assert verdict.expectation is not None
    assert verdict.expectation.ceiling_bytes_per_second == pytest.approx(RATE)


def test_a_drive_in_no_array_is_held_to_its_own_rating() -> None:
    alone = host(drives=[drive("sdc")])
    grounds = Grounds(rated={"sdc": RATED.rated["sda"]})
    assert judged(wrote(50e6, device="sdc"), grounds, alone).pace is Pace.SHORT
    assert judged(wrote(50e6, device="sdc"), Grounds(), alone).as_reading


def test_what_was_not_written_or_gave_way_is_not_measured() -> None:
    skipped = Skipped(device="md0", reason=SkipReason.NO_OWN_FILE, detail="no place")
    for attempt in (skipped, wrote(RATE, outcome=WriteOutcome.GAVE_WAY)):
        assert judged(attempt).pace is Pace.NOT_MEASURED
    nowhere = replace(skipped, device="/mnt/share")
    assert judged(nowhere).device is None


def status(*writes: WriteVerdict) -> Status:
    return Status(host=MIRROR, arrays=(), devices=(), seconds=1.0, writes=writes)


def test_slow_writes_are_a_finding_of_their_own_on_the_array() -> None:
    [finding] = observe_writes(status(judged(wrote(0.5 * RATE)))).findings
    assert (finding.matter, finding.origin) == (Matter.SLOW_WRITES, Origin.WRITTEN)
    assert (finding.cause.name, finding.arrays) == ("md0", ("md0",))


def test_a_write_that_failed_is_major_and_one_that_gave_way_says_nothing() -> None:
    failed = judged(wrote(None, outcome=WriteOutcome.WRITE_ERROR, detail="md0: failed"))
    [finding] = observe_writes(status(failed)).findings
    assert finding.matter is Matter.WRITE_ERRORS
    gave_way = observe_writes(status(judged(wrote(None, outcome=WriteOutcome.GAVE_WAY))))
    assert (gave_way.findings, gave_way.looked_at) == ((), frozenset())


def test_passes_that_only_read_leave_it_open_and_one_good_write_closes_it() -> None:
    book, _ = advance(IncidentBook(), observe_writes(status(judged(wrote(0.5 * RATE)))), 0.0)
    for moment in (1.0, 2.0, 3.0):
        book, changes = advance(book, observe_status(status()), moment)
        assert (len(book.open), changes) == (1, ())
    book, _ = advance(book, observe_writes(status(judged(wrote(RATE)))), 4.0)
    assert book.open == ()
