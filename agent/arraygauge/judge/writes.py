"""The verdict on writing: what an own file took, held against what the model expects."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from arraygauge.inventory.values import BlockDevice, Host
from arraygauge.judge.arrays import expected_rates
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.pace import ABOVE_CEILING, rate_of
from arraygauge.judge.peers import Grounds
from arraygauge.judge.state import array_cause, drive_of
from arraygauge.judge.values import Pace, Status, WriteVerdict
from arraygauge.probe.values import Attempt
from arraygauge.probe.writes.values import WriteAttempt, WriteMeasurement, WriteOutcome
from arraygauge.theory import (
    SEQUENTIAL_WRITE,
    Expectation,
    MemberRate,
    Source,
    Workload,
    expect_array,
    expect_device,
)


def assess_write(
    host: Host, name: str, attempt: WriteAttempt, attempts: Mapping[str, Attempt], grounds: Grounds
) -> WriteVerdict:
    """Hold one write against its expectation; ``attempts`` are the reads of the same pass."""
    device = host.device(name)
    workload = attempt.workload if isinstance(attempt, WriteMeasurement) else SEQUENTIAL_WRITE
    expectation, as_reading = _expected(host, device, workload, attempts, grounds)
    rate = judged_rate(attempt)
    ceiling = expectation.ceiling_bytes_per_second if expectation is not None else None
    return WriteVerdict(
        name=name,
        device=device,
        pace=_pace(rate, expectation, as_reading=as_reading, short=grounds.tolerances.short),
        attempt=attempt,
        expectation=expectation,
        as_reading=as_reading,
        ratio=rate / ceiling if rate and ceiling and not as_reading else None,
    )


def judged_rate(attempt: WriteAttempt) -> float | None:
    """Bytes per second that a rating speaks of: before a write cliff, where there is one; None
    where the attempt gave none."""
    if not isinstance(attempt, WriteMeasurement) or not attempt.usable:
        return None
    if attempt.cliff is not None:
        return attempt.cliff.before_bytes_per_second
    return attempt.bytes_per_second


def _pace(
    rate: float | None, expectation: Expectation | None, *, as_reading: bool, short: float
) -> Pace:
    if rate is None:
        return Pace.NOT_MEASURED
    if expectation is None or as_reading:
        return Pace.NO_REFERENCE
    if rate < short * expectation.floor_bytes_per_second:
        return Pace.SHORT
    if rate > ABOVE_CEILING * expectation.ceiling_bytes_per_second:
        return Pace.ABOVE
    return Pace.AS_EXPECTED


def _expected(
    host: Host,
    device: BlockDevice | None,
    workload: Workload,
    attempts: Mapping[str, Attempt],
    grounds: Grounds,
) -> tuple[Expectation | None, bool]:
    """The band, and whether it stands on read rates for want of write rates."""
    if device is None:
        return None, False
    array = host.array(device.name)
    rates = (
        expected_rates(host, array, attempts, grounds)
        if array is not None
        else _of_drive(device.name, attempts, grounds)
    )
    alike = {name: _writes_as_it_reads(rate) for name, rate in rates.items()}
    for held_to, as_reading in ((rates, False), (alike, True)):
        if array is not None:
            found = expect_array(host, array, held_to, grounds.board, workload)
        elif (own := held_to.get(device.name)) and own.write_bytes_per_second is not None:
            found = expect_device(host, device, own, grounds.board, workload)
        else:
            found = None
        if found is not None:
            return found, as_reading
    return None, False


def _of_drive(
    name: str, attempts: Mapping[str, Attempt], grounds: Grounds
) -> dict[str, MemberRate]:
    """A drive that belongs to no array: its rating, or what it was just seen to read."""
    if name in grounds.rated:
        return {name: grounds.rated[name]}
    rate = rate_of(attempts.get(name))
    if rate is None:
        return {}
    measured = MemberRate(
        read_bytes_per_second=rate, write_bytes_per_second=None, source=Source.MEASURED
    )
    return {name: measured}


def _writes_as_it_reads(rate: MemberRate) -> MemberRate:
    if rate.write_bytes_per_second is not None:
        return rate
    return replace(rate, write_bytes_per_second=rate.read_bytes_per_second, source=Source.ASSUMED)


def observe_writes(status: Status) -> Observation:
    """What writing showed. It speaks only for what it wrote to, so that a slow array stays told
    until the next time it is written to."""
    told = [verdict for verdict in status.writes if _tells(verdict.attempt)]
    causes = {verdict.name: _cause(status.host, verdict.name) for verdict in told}
    found = [
        _finding(verdict, cause, matter)
        for verdict in told
        if (matter := _matter(verdict)) is not None and (cause := causes[verdict.name]) is not None
    ]
    return Observation(
        origin=Origin.WRITTEN,
        findings=tuple(found),
        looked_at=frozenset(cause.stable_id for cause in causes.values() if cause is not None),
    )


def _tells(attempt: WriteAttempt) -> bool:
    """Whether it says something of the device: others leave open what it would have done."""
    if not isinstance(attempt, WriteMeasurement):
        return False
    return attempt.usable or attempt.outcome is WriteOutcome.WRITE_ERROR


def _matter(verdict: WriteVerdict) -> Matter | None:
    attempt = verdict.attempt
    if isinstance(attempt, WriteMeasurement) and attempt.outcome is WriteOutcome.WRITE_ERROR:
        return Matter.WRITE_ERRORS
    return Matter.SLOW_WRITES if verdict.pace is Pace.SHORT else None


def _finding(verdict: WriteVerdict, cause: Cause, matter: Matter) -> Finding:
    slow = matter is Matter.SLOW_WRITES
    on_array = verdict.device is not None and cause.stable_id == verdict.device.stable_id
    return Finding(
        origin=Origin.WRITTEN,
        cause=cause,
        matter=matter,
        severity=Severity.MINOR if slow else Severity.MAJOR,
        arrays=(verdict.name,) if on_array else (),
        signature=str(matter),
        facts=verdict,
    )


def _cause(host: Host, name: str) -> Cause | None:
    array = host.array(name)
    return array_cause(array) if array is not None else drive_of(host, name)
