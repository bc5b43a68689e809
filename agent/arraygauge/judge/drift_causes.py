"""Which change of speed is put down to whom: one cause for what changed together. Pure.

A member explains its array. Members that all changed alike point to what they share, and so
do members that did not change in an array that did: the array is the cause then.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from arraygauge.inventory.values import Array, Host
from arraygauge.judge.baseline import Baseline
from arraygauge.judge.drift import Course, DriftFinding, find_drift
from arraygauge.judge.drift_moves import Move, distance_of, with_sudden
from arraygauge.judge.drift_subjects import compares, members_of
from arraygauge.judge.findings import Cause
from arraygauge.judge.state import array_cause, drive_of
from arraygauge.judge.values import Status
from arraygauge.values import frozen


@frozen
class Blame:
    """One cause, what it did, and whom else that explains (``covers``, by stable id).
    ``together`` counts members that changed alike."""

    cause: Cause
    drift: DriftFinding
    move: Move
    arrays: tuple[str, ...]
    covers: tuple[str, ...]
    together: int = 0


def blame(
    status: Status, moves: Mapping[str, Move], before: Mapping[str, Collection[str]]
) -> list[Blame]:
    """All that changed, one entry for each cause. ``before`` is whom each cause explained at
    the last pass: charts do not end together, and who was the cause is so to the end."""
    moves = _present(status, with_sudden(status, moves), before)
    found: dict[str, Blame] = {}
    explained: set[str] = set()
    for verdict in status.arrays:
        members = members_of(status.host, verdict.array)
        for course in Course:
            change = _Change(
                host=status.host,
                array=verdict.array,
                whole=moves.get(verdict.array.stable_id),
                members=[moves[each] for each in members if each in moves],
                course=course,
                before=before,
            )
            for each in change.blamed():
                _add(found, each)
                explained |= set(each.covers)
        if verdict.odd_members:
            explained.add(verdict.array.stable_id)  # measured against its peers, and told so
    for stable_id, move in moves.items():
        if move.drift is not None and stable_id not in explained and stable_id not in found:
            _add(found, _own(status.host, move, move.drift))
    return [each for stable_id, each in found.items() if _stands(stable_id, found)]


def _present(
    status: Status, moves: Mapping[str, Move], before: Mapping[str, Collection[str]]
) -> dict[str, Move]:
    """Without what an array did before it lost a member: whoever was the cause of that may be
    gone, and the array must not be told in its place. What was its own doing stays so."""
    silent = {
        verdict.array.stable_id
        for verdict in status.arrays
        if not compares(verdict) and verdict.array.stable_id not in before
    }
    return {stable_id: move for stable_id, move in moves.items() if stable_id not in silent}


@frozen
class _Change:
    """Who changed in one array, in one direction. ``whole`` is the array's own move."""

    host: Host
    array: Array
    whole: Move | None
    members: Sequence[Move]
    course: Course
    before: Mapping[str, Collection[str]]

    def blamed(self) -> list[Blame]:
        sure = [move for move in self.members if _drifts(move, self.course)]
        whole = self.whole if self.whole and _drifts(self.whole, self.course) else None
        if not sure and whole is None:
            return []
        if self._together(sure):
            return [_together(self.array, whole, sure, self.members)]
        touched = () if whole is None else (self.array.stable_id,)
        return [
            _own(self.host, move, drift, touched)
            for move in sure or self._likely()
            if (drift := _supposed(move, self.course)) is not None
        ]

    @property
    def _moving(self) -> list[Move]:
        return [move for move in self.members if move.leaning is self.course]

    def _together(self, sure: Sequence[Move]) -> bool:
        """All do, or all did and those that still do are among them."""
        if len(self.members) < 2:
            return False
        were = self.before.get(self.array.stable_id, ())
        still = bool(sure) and all(move.cause.stable_id in were for move in sure)
        return still or len(self._moving) == len(self.members)

    def _likely(self) -> list[Move]:
        """The member to whom the array's change was put down, or that leans most."""
        array_id = self.array.stable_id
        was = [m for m in self.members if array_id in self.before.get(m.cause.stable_id, ())]
        return was or sorted(self._moving, key=distance_of)[-1:]


def _drifts(move: Move, course: Course) -> bool:
    return move.drift is not None and move.drift.course is course


def _supposed(move: Move, course: Course) -> DriftFinding | None:
    if _drifts(move, course):
        return move.drift
    usual = move.watched.usual
    assert isinstance(usual, Baseline)
    return find_drift(usual, replace(move.watched.state, course=None, onset=None), course)


def _together(
    array: Array, whole: Move | None, sure: Sequence[Move], members: Sequence[Move]
) -> Blame:
    """The array's own change where it was measured, else that of the member in the middle."""
    told = (
        whole
        or sorted(sure, key=lambda each: each.drift.share if each.drift else 0.0)[len(sure) // 2]
    )
    assert told.drift is not None
    covers = [array.stable_id, *(each.cause.stable_id for each in members)]
    covers += [stable_id for each in members for stable_id in each.stable_ids]
    return Blame(
        cause=array_cause(array),
        drift=told.drift,
        move=told,
        arrays=(array.name,),
        covers=tuple(dict.fromkeys(covers)),
        together=len(members),
    )


def _own(host: Host, move: Move, drift: DriftFinding, touched: tuple[str, ...] = ()) -> Blame:
    covers = (move.cause.stable_id, *move.stable_ids, *touched)
    return Blame(
        cause=move.cause,
        drift=drift,
        move=move,
        arrays=_arrays_of(host, move.cause),
        covers=tuple(dict.fromkeys(covers)),
    )


def _arrays_of(host: Host, cause: Cause) -> tuple[str, ...]:
    """Those that hold it, or it itself."""
    return tuple(
        array.name
        for array in host.arrays
        if array.stable_id == cause.stable_id or cause.stable_id in _all_members(host, array)
    )


def _all_members(host: Host, array: Array) -> set[str]:
    causes = (drive_of(host, member.name) for member in array.members)
    return {cause.stable_id for cause in causes if cause is not None}


def _add(found: dict[str, Blame], blamed: Blame) -> None:
    """A drive that serves several arrays is blamed once."""
    before = found.get(blamed.cause.stable_id)
    if before is not None:
        covers = tuple(dict.fromkeys((*before.covers, *blamed.covers)))
        blamed = replace(before, covers=covers)
    found[blamed.cause.stable_id] = blamed


def _stands(stable_id: str, found: Mapping[str, Blame]) -> bool:
    """What is explained by what members share is not told of each of them."""
    return not any(
        other.together and stable_id in other.covers
        for cause, other in found.items()
        if cause != stable_id
    )
