"""Findings from one pass's verdicts: a slow array is told as what slows it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from math import inf

from arraygauge.inventory.values import Host
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.pace import WELL_KNOWN
from arraygauge.judge.state import array_cause, drive_of
from arraygauge.judge.strays import looks_needed
from arraygauge.judge.values import ArrayVerdict, DeviceVerdict, Pace, Status, Tolerances
from arraygauge.judge.values import Cause as SlowCause
from arraygauge.probe.values import Attempt, Measurement, Outcome
from arraygauge.values import frozen

_TROUBLES = {
    Outcome.READ_ERROR: (Matter.READ_ERRORS, Severity.MAJOR),
    Outcome.TIMED_OUT: (Matter.DEVICE_HANGS, Severity.MAJOR),
    Outcome.ABANDONED: (Matter.DEVICE_HANGS, Severity.MAJOR),
    Outcome.TOO_HOT: (Matter.TOO_HOT, Severity.MINOR),
}
CLEARLY = 0.8
"""Short by more than that share is believed at once; by less at the second pass in a row, as
rates stray by some per cent from pass to pass. Where they are known to stray by more, it takes
more passes (``looks_needed``)."""
UNSURE_LOOKS = 3
"""A rate that too few places gave to have an interval, or a member's whose interval reaches to
where it would be like its peers, is believed so late: it may be half the true one."""
_LIMITS = Tolerances()
_NOTHING_KNOWN: Mapping[str, float] = {}
_TELLING = (Outcome.COMPLETED, Outcome.BUDGET_SPENT, *_TROUBLES)
"""Outcomes that say something of the device. Others leave open what it would have done."""


@frozen
class _Slow:
    severity: Severity
    looks: int


def observe_status(
    status: Status,
    drifting: Collection[str] = (),
    strays: Mapping[str, float] = _NOTHING_KNOWN,
) -> Observation:
    """What the pass found. It speaks only for what it measured. ``drifting`` are the stable
    ids of causes that are known to be slower than they were: where an array's members
    explain it, such a member is told and the array is not. ``strays`` says by name how far
    rates are known to stray by themselves (``strays_of``)."""
    slow = dict(_slow_members(status, strays))
    drives = [
        finding
        for verdict in status.devices
        if (finding := _of_device(status, verdict, slow, strays)) is not None
    ]
    arrays = [
        finding
        for verdict in status.arrays
        if (finding := _of_array(verdict, strays)) is not None
        and not _is_explained(status.host, verdict, drifting)
    ]
    return Observation(
        origin=Origin.MEASURED,
        findings=(*drives, *arrays),
        looked_at=frozenset(_looked_at(status)),
    )


def _looked_at(status: Status) -> Iterator[str]:
    for verdict in status.devices:
        cause = drive_of(status.host, verdict.device.name)
        if cause is not None and _tells(verdict.attempt):
            yield cause.stable_id
    for array in status.arrays:
        if _tells(array.attempt):
            yield array.array.stable_id


def _tells(attempt: Attempt) -> bool:
    return isinstance(attempt, Measurement) and attempt.outcome in _TELLING


def _slow_members(status: Status, strays: Mapping[str, float]) -> Iterator[tuple[str, _Slow]]:
    """Members unlike their peers, by name; worse where the array is slower for it. One that is
    told only because the array is short is told no sooner than that would be."""
    attempts = {verdict.device.name: verdict.attempt for verdict in status.devices}
    for verdict in status.arrays:
        severity = Severity.MAJOR if verdict.pace is Pace.SHORT else Severity.MINOR
        for odd in verdict.odd_members:
            share = odd.bytes_per_second / odd.peers_bytes_per_second
            by_itself = share < _LIMITS.odd_member
            limit = _LIMITS.odd_member if by_itself else _LIMITS.short
            sure = _is_below(attempts.get(odd.name), limit * odd.peers_bytes_per_second)
            looks = _looks(share, limit, strays.get(odd.name), sure=sure)
            yield odd.name, _Slow(severity=severity, looks=looks)


def _is_below(attempt: Attempt | None, bytes_per_second: float = inf) -> bool:
    """Whether the true rate surely is, too: a rate that is well known, or the interval's end."""
    if not isinstance(attempt, Measurement) or attempt.uncertainty is None:
        return attempt is None
    high = attempt.high_bytes_per_second
    return attempt.uncertainty <= WELL_KNOWN or (high is not None and high < bytes_per_second)


def _looks(share: float | None, limit: float, stray: float | None, *, sure: bool) -> int:
    """In how many passes in a row a rate of that share of the expected has to be found, where
    all below ``limit`` is."""
    plain = 2 if share is not None and share >= CLEARLY else 1
    plain = plain if sure else UNSURE_LOOKS
    if share is None or stray is None:
        return plain
    return max(plain, looks_needed(share, limit, stray))


def _of_device(
    status: Status,
    verdict: DeviceVerdict,
    slow: Mapping[str, _Slow],
    strays: Mapping[str, float],
) -> Finding | None:
    cause = drive_of(status.host, verdict.device.name)
    found = _matter(verdict, slow)
    if cause is None or found is None:
        return None
    matter, severity = found
    name = verdict.device.name
    return Finding(
        origin=Origin.MEASURED,
        cause=cause,
        matter=matter,
        severity=severity,
        arrays=_arrays_with(status.host, name),
        signature=f"{matter} {severity}",
        facts=verdict,
        looks=_looks_at(matter, verdict, slow, strays),
    )


def _looks_at(
    matter: Matter, verdict: DeviceVerdict, slow: Mapping[str, _Slow], strays: Mapping[str, float]
) -> int:
    name = verdict.device.name
    if matter is Matter.SLOW_MEMBER:
        return slow[name].looks
    if matter is Matter.SLOW_DRIVE:
        sure = _is_below(verdict.attempt)
        return _looks(verdict.ratio, _LIMITS.odd_member, strays.get(name), sure=sure)
    return 1


def _matter(verdict: DeviceVerdict, slow: Mapping[str, _Slow]) -> tuple[Matter, Severity] | None:
    """A link that trained low explains a slow drive; alone it is worth a look."""
    attempt = verdict.attempt
    odd = slow.get(verdict.device.name)
    if isinstance(attempt, Measurement) and attempt.outcome in _TROUBLES:
        return _TROUBLES[attempt.outcome]
    if verdict.low_links:
        return Matter.LINK_LOW, odd.severity if odd is not None else Severity.MINOR
    if odd is not None:
        return Matter.SLOW_MEMBER, odd.severity
    if verdict.pace is Pace.SHORT:
        return Matter.SLOW_DRIVE, Severity.MINOR
    return None


def _of_array(verdict: ArrayVerdict, strays: Mapping[str, float]) -> Finding | None:
    """Short for a reason that is no member's: what they share, or all of them."""
    if verdict.pace is not Pace.SHORT or verdict.odd_members:
        return None
    cause: Cause = array_cause(verdict.array)
    stray, sure = strays.get(verdict.array.name), _is_below(verdict.attempt)
    return Finding(
        origin=Origin.MEASURED,
        cause=cause,
        matter=Matter.SLOW_ARRAY,
        severity=Severity.MINOR,
        arrays=(verdict.array.name,),
        signature=str(verdict.cause),
        facts=verdict,
        looks=_looks(_short_by(verdict), _LIMITS.short, stray, sure=sure),
    )


def _short_by(verdict: ArrayVerdict) -> float | None:
    """Its rate as a share of what it is short of."""
    since = verdict.since_trial
    if verdict.cause is SlowCause.BELOW_TRIAL and since is not None and since.share is not None:
        return 1 + since.share
    return verdict.ratio


def _is_explained(host: Host, verdict: ArrayVerdict, drifting: Collection[str]) -> bool:
    causes = [drive_of(host, member.name) for member in verdict.array.members]
    return verdict.cause is SlowCause.MEMBERS_SLOWER and any(
        cause is not None and cause.stable_id in drifting for cause in causes
    )


def _arrays_with(host: Host, name: str) -> tuple[str, ...]:
    return tuple(
        array.name for array in host.arrays if any(member.name == name for member in array.members)
    )
