"""The verdict on an array, from the host and what was measured on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from statistics import median_high

from arraygauge.inventory.values import Array, Host, MemberState
from arraygauge.judge.health import health_of
from arraygauge.judge.pace import pace_of, rate_of, ratio_of
from arraygauge.judge.peers import Grounds, reference_rates
from arraygauge.judge.values import ArrayVerdict, Cause, OddMember, Pace
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.theory import (
    SEQUENTIAL_READ,
    Expectation,
    MemberRate,
    Source,
    Workload,
    expect_array,
)
from arraygauge.theory.walls import Wall
from arraygauge.values import frozen


def assess_array(
    host: Host, array: Array, attempts: Mapping[str, Attempt], grounds: Grounds
) -> ArrayVerdict:
    """Hold one array against its expectation. ``attempts``, by device name, must
    hold the array's own; members it does not hold are taken as not measured."""
    model = _Model(
        host=host, array=array, grounds=grounds, workload=_workload(attempts[array.name])
    )
    attempt = attempts[array.name]
    found = member_rates(array, attempts)
    references = expected_rates(host, array, attempts, grounds)
    expectation = model.expect(references)
    as_found = model.expect({**references, **_measured(found)})
    pace = pace_of(attempt, expectation, grounds.tolerances.short)

    def explained(members: tuple[OddMember, ...]) -> tuple[OddMember, ...]:
        return tuple(
            replace(member, explained_share=model.explained(member, references, attempt, pace))
            for member in members
        )

    odd = explained(odd_members(found, references, grounds.tolerances.odd_member))
    if not odd and pace is Pace.SHORT:
        odd = _lone_laggard(explained(odd_members(found, references, _lag_below(grounds))))
    return ArrayVerdict(
        array=array,
        health=health_of(host, array),
        pace=pace,
        attempt=attempt,
        expectation=expectation,
        as_found=as_found,
        ratio=ratio_of(attempt, expectation),
        cause=_cause(pace, odd, attempt, as_found, grounds),
        odd_members=odd,
    )


def with_walls(verdict: ArrayVerdict, walls: tuple[Wall, ...]) -> ArrayVerdict:
    """The verdict, knowing which members share a limit: that is the cause where none was seen,
    if it is certain."""
    unseen = verdict.cause is Cause.UNSEEN_SHARED_LIMIT
    found = unseen and any(wall.certain for wall in walls)
    cause = Cause.FOUND_SHARED_LIMIT if found else verdict.cause
    return replace(verdict, walls=walls, cause=cause)


def expected_rates(
    host: Host, array: Array, attempts: Mapping[str, Attempt], grounds: Grounds
) -> dict[str, MemberRate]:
    """What each member should do by itself: its rating, or else what its peers do; for a
    member that is an array, what its own members should do as well."""
    references: dict[str, float] = {}
    for role in (False, True):
        references |= reference_rates(host, member_rates(array, attempts, write_mostly=role))
    rates = _with_rated(references, array, grounds)
    others = replace(host, arrays=tuple(each for each in host.arrays if each.name != array.name))
    for member in array.members:
        inner = others.array(member.name)
        if inner is not None:
            rates = {**expected_rates(others, inner, attempts, grounds), **rates}
    return rates


def member_rates(
    array: Array, attempts: Mapping[str, Attempt], *, write_mostly: bool | None = None
) -> dict[str, float]:
    """Bytes per second of each serving member that was measured by itself: of all, or only
    of those that are, or are not, write-mostly. Spares and journals do another job."""
    serving = [member for member in array.members if member.serving]
    rates = {
        member.name: rate_of(attempts.get(member.name))
        for member in serving
        if write_mostly in (None, MemberState.WRITE_MOSTLY in member.states)
    }
    return {name: rate for name, rate in rates.items() if rate is not None}


def peer_references(host: Host, attempts: Mapping[str, Attempt]) -> dict[str, float]:
    """For each member of an array, bytes per second of its peers: of the members that do the
    same job in the first array that lists it. A member that is alone in its job has none."""
    references: dict[str, float] = {}
    listed: set[str] = set()
    for array in host.arrays:
        for role in (False, True):
            rates = member_rates(array, attempts, write_mostly=role)
            found = reference_rates(host, rates) if len(rates) > 1 else {}
            references |= {name: rate for name, rate in found.items() if name not in listed}
        listed |= {member.name for member in array.members}
    return references


def odd_members(
    found: Mapping[str, float], references: Mapping[str, MemberRate], odd_below: float
) -> tuple[OddMember, ...]:
    """Members slower than ``odd_below`` of what their peers do, slowest share first."""
    shares = {name: rate / references[name].read_bytes_per_second for name, rate in found.items()}
    return tuple(
        OddMember(
            name=name,
            bytes_per_second=found[name],
            peers_bytes_per_second=references[name].read_bytes_per_second,
            explained_share=None,
        )
        for name in sorted(shares, key=lambda name: shares[name])
        if shares[name] < odd_below
    )


def _lag_below(grounds: Grounds) -> float:
    """A member lags by more than half of what makes an array short."""
    return (1 + grounds.tolerances.short) / 2


def _lone_laggard(lagging: tuple[OddMember, ...]) -> tuple[OddMember, ...]:
    """In an array that is short, a member that would not be odd by itself is what explains it
    where it accounts for most of it, and for clearly more than the next."""
    most, next_most, *_ = (*(member.explained_share or 0.0 for member in lagging), 0.0, 0.0)
    if most > max(0.5, 1.5 * next_most):
        return lagging[:1]
    return ()


@frozen
class _Model:
    """One array's expectation as a function of its members' rates alone."""

    host: Host
    array: Array
    grounds: Grounds
    workload: Workload

    def expect(self, rates: Mapping[str, MemberRate]) -> Expectation | None:
        return expect_array(self.host, self.array, rates, self.grounds.board, self.workload)

    def explained(
        self,
        member: OddMember,
        references: Mapping[str, MemberRate],
        attempt: Attempt,
        pace: Pace,
    ) -> float | None:
        """The share of the shortfall that the model shows with only this member slow."""
        rate = rate_of(attempt)
        expected = self.expect(references)
        slowed = self.expect({**references, **_measured({member.name: member.bytes_per_second})})
        if pace is not Pace.SHORT or rate is None or expected is None or slowed is None:
            return None
        shortfall = expected.floor_bytes_per_second - rate
        lost_to_it = expected.floor_bytes_per_second - slowed.floor_bytes_per_second
        return max(0.0, min(1.0, lost_to_it / shortfall))


def _workload(attempt: Attempt) -> Workload:
    return attempt.workload if isinstance(attempt, Measurement) else SEQUENTIAL_READ


def _measured(rates: Mapping[str, float]) -> dict[str, MemberRate]:
    return {
        name: MemberRate(
            read_bytes_per_second=rate, write_bytes_per_second=None, source=Source.MEASURED
        )
        for name, rate in rates.items()
    }


def _with_rated(
    references: Mapping[str, float], array: Array, grounds: Grounds
) -> dict[str, MemberRate]:
    """What members should do: what was declared for them, or what their peers do; a
    member that could not be measured is taken to be as good as the rest."""
    members = {member.name for member in array.members}
    rated = {name: rate for name, rate in grounds.rated.items() if name in members}
    return {**_assumed_alike(references, members), **_measured(references), **rated}


def _assumed_alike(references: Mapping[str, float], members: set[str]) -> dict[str, MemberRate]:
    if not references:
        return {}
    alike = MemberRate(
        read_bytes_per_second=median_high(references.values()),
        write_bytes_per_second=None,
        source=Source.ASSUMED,
    )
    return dict.fromkeys(members, alike)


def _cause(
    pace: Pace,
    odd: tuple[OddMember, ...],
    attempt: Attempt,
    as_found: Expectation | None,
    grounds: Grounds,
) -> Cause | None:
    """Why the array is short: the members, if their own rates explain what was measured."""
    if pace is not Pace.SHORT:
        return None
    if odd:
        return Cause.SLOW_MEMBER
    if pace_of(attempt, as_found, grounds.tolerances.short) is Pace.AS_EXPECTED:
        return Cause.MEMBERS_SLOWER
    return Cause.UNSEEN_SHARED_LIMIT
