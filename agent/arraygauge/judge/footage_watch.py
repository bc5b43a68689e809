"""Promises that no longer hold, as findings: told with what explains them, alone only where
nothing does.

A fold: passes and looks are seen, and ``observe`` says what that means beside what all others
have found. A measured rate that only strays is believed at the second pass in a row, the
kernel's word on a loss or a rebuild at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field

from arraygauge.inventory.values import Array, Host
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.footage import carried_now
from arraygauge.judge.footage_values import Basis, Carried, FootageVerdict, Holding, Promise
from arraygauge.judge.incidents import Claim
from arraygauge.judge.state import array_cause
from arraygauge.judge.values import Status
from arraygauge.theory.conditions import Condition
from arraygauge.theory.footage import needed_bytes_per_second
from arraygauge.values import frozen

_EXPLAINS = frozenset(
    {
        Matter.DATA_INCOMPLETE,
        Matter.NO_REDUNDANCY,
        Matter.LESS_REDUNDANCY,
        Matter.DEVICE_HANGS,
        Matter.READ_ERRORS,
        Matter.TOO_HOT,
        Matter.LINK_LOW,
        Matter.SLOW_MEMBER,
        Matter.SLOW_PATH,
        Matter.SLOW_ARRAY,
        Matter.SLOW_DRIVE,
        Matter.DRIFT,
        Matter.SYNCHRONISING,
    }
)
_CLEARLY = 0.8
"""Below that share of what is needed a measured rate is believed at once."""
_PASSES = 2
_BROKEN = (Holding.TIGHT, Holding.FAILS)


@frozen
class BrokenPromise:
    """``streams`` of a kind were promised, and ``carried`` are at most, with the headroom left
    free; without it ``bare_streams``. Rates in bytes per second."""

    footage: str
    streams: int
    headroom_share: float
    carried: int
    bare_streams: int
    needed_bytes_per_second: float
    given_bytes_per_second: float
    condition: Condition
    basis: Basis
    holding: Holding


@frozen
class FootageFacts:
    """One array's promises that do not hold."""

    array_name: str
    broken: tuple[BrokenPromise, ...]


@frozen
class _Standing:
    """Promises of one array that do not hold: for ``sure``, or by a single pass only, which
    begins nothing and ends nothing."""

    array: Array
    sure: tuple[BrokenPromise, ...]
    doubtful: tuple[BrokenPromise, ...]

    def facts(self, claims: Iterable[Claim]) -> FootageFacts | None:
        """None where there is nothing to tell."""
        told = any(
            claim.finding.origin is Origin.FOOTAGE and self.array.name in claim.finding.arrays
            for claim in claims
        )
        broken = (*self.sure, *(self.doubtful if told else ()))
        return FootageFacts(array_name=self.array.name, broken=broken) if broken else None


@frozen
class FootageWatch:
    """What is promised, as the latest pass judged it, and how the arrays stand since.

    ``verdicts`` and ``failing`` (passes in a row that measured too little, by the footage's
    name) are by an array's stable id; ``unjudged`` are arrays that no pass was seen of.
    """

    verdicts: Mapping[str, tuple[FootageVerdict, ...]] = field(default_factory=dict)
    failing: Mapping[tuple[str, str], int] = field(default_factory=dict)
    standing: tuple[_Standing, ...] = ()
    unjudged: frozenset[str] = frozenset()

    def after_pass(self, status: Status) -> FootageWatch:
        """What was not judged in this pass stays as it was."""
        verdicts = {
            each.array.stable_id: self._known(each.array, each.footage) for each in status.arrays
        }
        failing = {
            (stable_id, verdict.promise.name): self._failing(stable_id, verdict)
            for stable_id, found in verdicts.items()
            for verdict in found
        }
        kept = {**self.verdicts, **verdicts}
        after = FootageWatch(verdicts=kept, failing={**self.failing, **failing})
        return after.after_look(status.host)

    def after_look(self, host: Host) -> FootageWatch:
        """The same promises with the arrays as they are now."""
        standing = [self._standing(host, array) for array in host.arrays]
        unjudged = {
            array.name
            for array in host.arrays
            if array.stable_id not in self.verdicts
            or any(each.grasp is None for each in self.verdicts[array.stable_id])
        }
        return FootageWatch(
            verdicts=self.verdicts,
            failing=self.failing,
            standing=tuple(standing),
            unjudged=frozenset(unjudged),
        )

    def observe(self, claims: Iterable[Claim]) -> Observation:
        """Every promise that does not hold. ``claims`` are all that others have found."""
        held = tuple(claims)
        found = [
            claim.finding
            for claim in held
            if claim.finding.origin is Origin.FOOTAGE
            and not self.unjudged.isdisjoint(claim.finding.arrays)
        ]
        found += [
            finding
            for each in self.standing
            if (facts := each.facts(held)) is not None
            and (finding := _finding(each.array, facts, held)) is not None
        ]
        return Observation(origin=Origin.FOOTAGE, findings=tuple(found))

    def _known(self, array: Array, found: tuple[FootageVerdict, ...]) -> tuple[FootageVerdict, ...]:
        """Of a promise that could not be judged now, what was known before."""
        before = {each.promise: each for each in self.verdicts.get(array.stable_id, ())}
        return tuple(
            then if (then := before.get(each.promise)) and _knows_less(each, then) else each
            for each in found
        )

    def _failing(self, stable_id: str, verdict: FootageVerdict) -> int:
        """In how many passes in a row too little was measured."""
        before = self.failing.get((stable_id, verdict.promise.name), 0)
        now = verdict.now
        if now is None or now.basis is not Basis.MEASURED:
            return before
        if now.holding(verdict.promise) not in _BROKEN:
            return 0
        clearly = now.most_bytes_per_second < _CLEARLY * _needed(verdict.promise)
        return before + (_PASSES if clearly else 1)

    def _standing(self, host: Host, array: Array) -> _Standing:
        broken = tuple(self._broken(host, array))
        return _Standing(
            array=array,
            sure=tuple(each for each, sure in broken if sure),
            doubtful=tuple(each for each, sure in broken if not sure),
        )

    def _broken(self, host: Host, array: Array) -> Iterator[tuple[BrokenPromise, bool]]:
        """Each with whether it is sure. What is only predicted of a healthy array is none."""
        for verdict in self.verdicts.get(array.stable_id, ()):
            now = carried_now(host, array, verdict)
            if now is None or (holding := now.holding(verdict.promise)) not in _BROKEN:
                continue
            often = self.failing.get((array.stable_id, verdict.promise.name), 0) >= _PASSES
            known = now.condition is not Condition.HEALTHY
            if known or now.basis is Basis.MEASURED:
                yield _broken_promise(verdict.promise, now, holding), known or often


def _knows_less(now: FootageVerdict, then: FootageVerdict) -> bool:
    """Whether nothing is known, or nothing was measured where it was before, and of an array in
    the same shape."""
    if now.grasp is None or now.now is None:
        return True
    if then.grasp is None or then.now is None or now.now.basis is Basis.MEASURED:
        return False
    same = (now.grasp.geometry, now.now.condition) == (then.grasp.geometry, then.now.condition)
    return same and then.now.basis is Basis.MEASURED


def _needed(promise: Promise) -> float:
    return float(needed_bytes_per_second(promise.stream, promise.streams or 0, promise.headroom))


def _broken_promise(promise: Promise, now: Carried, holding: Holding) -> BrokenPromise:
    return BrokenPromise(
        footage=promise.name,
        streams=promise.streams or 0,
        headroom_share=float(promise.headroom),
        carried=now.most_streams,
        bare_streams=now.bare_streams,
        needed_bytes_per_second=_needed(promise),
        given_bytes_per_second=now.most_bytes_per_second,
        condition=now.condition,
        basis=now.basis,
        holding=holding,
    )


def _finding(array: Array, facts: FootageFacts, claims: tuple[Claim, ...]) -> Finding | None:
    """With the cause of the worst that explains it; None while it is not sure yet whether
    something does."""
    own = max(_severity(each) for each in facts.broken)
    explaining = [claim for claim in claims if _explains(claim.finding, array)]
    believed = [claim.finding for claim in explaining if claim.believed]
    if explaining and not believed:
        return None
    worst = max(believed, key=lambda each: each.severity, default=None)
    cause: Cause = array_cause(array) if worst is None else worst.cause
    return Finding(
        origin=Origin.FOOTAGE,
        cause=cause,
        matter=Matter.FOOTAGE,
        severity=own if worst is None else min(own, worst.severity),
        arrays=(array.name,),
        signature="; ".join(f"{each.footage} {each.holding}" for each in facts.broken),
        facts=facts,
    )


def _explains(finding: Finding, array: Array) -> bool:
    touched = array.name in finding.arrays or finding.cause.stable_id == array.stable_id
    return touched and finding.matter in _EXPLAINS


def _severity(broken: BrokenPromise) -> Severity:
    return Severity.MAJOR if broken.holding is Holding.FAILS else Severity.MINOR
