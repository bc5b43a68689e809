"""Which change of speed is put down to whom: one cause for what changed together. Pure.

A member explains its array. Members that all changed alike point to what they share, and so
do members that did not change in an array that did: the array is the cause then.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from arraygauge.inventory.values import Array, Host
from arraygauge.judge.baseline import Baseline, Deviation, Learning, deviation_of
from arraygauge.judge.change import Shape
from arraygauge.judge.drift import (
    LONG_UNMEASURED,
    SUMS,
    Course,
    DriftFinding,
    Onset,
    Watched,
    find_drift,
)
from arraygauge.judge.drift_subjects import Subject, members_of
from arraygauge.judge.findings import Cause
from arraygauge.judge.state import array_cause, drive_of
from arraygauge.judge.values import ArrayVerdict, DeviceVerdict, Status

LEANING = SUMS.decision / 4
"""A member whose own sum has come so far when its array's chart alarms explains the array."""
SUDDEN_SHARE = 0.2
SUDDEN_SPREADS = 10.0
"""A member that falls so far below its own past from one pass to the next, by both, while its
peers keep theirs, is told at once. Noise of a relative spread of 2 % does not come there even
with a wild reading of a tenth on top."""
PEERS_KEEP = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How one cause moves: ``drift`` where that is known to last, ``leaning`` to which side its
    chart has come some way. ``now`` is this pass's reading of it."""

    cause: Cause
    stable_ids: tuple[str, ...]
    verdict: ArrayVerdict | DeviceVerdict
    watched: Watched
    drift: DriftFinding | None = None
    leaning: Course | None = None
    now: Deviation | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Blame:
    """One cause, what it did, and whom else that explains (``covers``, by stable id).
    ``together`` counts members that changed alike."""

    cause: Cause
    drift: DriftFinding
    move: Move
    arrays: tuple[str, ...]
    covers: tuple[str, ...]
    together: int = 0


def moves_of(subjects: Iterable[Subject], watched: Iterable[Watched]) -> dict[str, Move]:
    """By the stable id of the cause; of several subjects of one cause the one that moved most."""
    by_id: dict[str, list[Watched]] = {}
    for each in watched:
        by_id.setdefault(each.usual.key.stable_id, []).append(each)
    moves: dict[str, Move] = {}
    for subject in subjects:
        found = [
            _move(subject, each)
            for each in by_id.get(subject.stable_id, ())
            if _counts(each, subject)
        ]
        for move in found:
            before = moves.get(move.cause.stable_id)
            moves[move.cause.stable_id] = _further(before, move)
    return moves


def blame(
    status: Status, moves: Mapping[str, Move], before: Mapping[str, Collection[str]]
) -> list[Blame]:
    """All that changed, one entry for each cause. ``before`` is whom each cause explained at
    the last pass: charts do not end together, and who was the cause is so to the end."""
    moves = _with_sudden(status, moves)
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


def _counts(watched: Watched, subject: Subject) -> bool:
    """One that is measured in another way now has nothing to say of the present."""
    elsewhere = subject.key is not None and subject.key != watched.usual.key
    return not elsewhere or watched.state.unusable < LONG_UNMEASURED


def _move(subject: Subject, watched: Watched) -> Move:
    usual, state = watched.usual, watched.state
    plain = Move(
        cause=subject.cause,
        stable_ids=(subject.stable_id,),
        verdict=subject.verdict,
        watched=watched,
    )
    if isinstance(usual, Learning):
        return plain
    now = subject.reading if subject.key == usual.key else None
    return replace(
        plain,
        drift=find_drift(usual, state),
        leaning=leaning_of(watched),
        now=deviation_of(usual, now) if now is not None else None,
    )


def leaning_of(watched: Watched) -> Course | None:
    """To which side its chart has come some way."""
    sums = watched.state.sums
    far = {Course.SLOWER: sums.below, Course.FASTER: sums.above}
    side = max(far, key=lambda course: far[course])
    return watched.state.course or (side if far[side] >= LEANING else None)


def _further(before: Move | None, move: Move) -> Move:
    if before is None:
        return move
    ids = tuple(dict.fromkeys((*before.stable_ids, *move.stable_ids)))
    return replace(max(before, move, key=_distance), stable_ids=ids)


def _distance(move: Move) -> tuple[bool, float]:
    sums = move.watched.state.sums
    return move.drift is not None, max(sums.below, sums.above)


def _with_sudden(status: Status, moves: Mapping[str, Move]) -> dict[str, Move]:
    """Members that fell at once count as drifting, before their charts say so."""
    after = dict(moves)
    for verdict in status.arrays:
        members = [moves[each] for each in members_of(status.host, verdict.array) if each in moves]
        for move in members:
            others = [each.now.share for each in members if each is not move and each.now]
            if others and median(others) > -PEERS_KEEP and _fell(move):
                after[move.cause.stable_id] = _fallen(move)
    return after


def _fell(move: Move) -> bool:
    return (
        move.now is not None
        and move.drift is None
        and move.now.share <= -SUDDEN_SHARE
        and move.now.spreads <= -SUDDEN_SPREADS
    )


def _fallen(move: Move) -> Move:
    usual, state = move.watched.usual, move.watched.state
    assert isinstance(usual, Baseline)
    onset = Onset(moment_seconds=state.recent[-1].moment_seconds, shape=Shape.UNTOLD, sure=0.5)
    drift = find_drift(usual, replace(state, course=Course.SLOWER, onset=onset))
    return replace(move, drift=drift, leaning=Course.SLOWER)


@dataclass(frozen=True, slots=True, kw_only=True)
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
            return [_together(self.array, whole, sure, self._moving or sure)]
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
        return was or sorted(self._moving, key=_distance)[-1:]


def _drifts(move: Move, course: Course) -> bool:
    return move.drift is not None and move.drift.course is course


def _supposed(move: Move, course: Course) -> DriftFinding | None:
    usual = move.watched.usual
    assert isinstance(usual, Baseline)
    return move.drift or find_drift(usual, move.watched.state, course)


def _together(
    array: Array, whole: Move | None, sure: Sequence[Move], moving: Sequence[Move]
) -> Blame:
    """The array's own change where it was measured, else that of the member in the middle."""
    told = (
        whole
        or sorted(sure, key=lambda each: each.drift.share if each.drift else 0.0)[len(sure) // 2]
    )
    assert told.drift is not None
    covers = [array.stable_id, *(each.cause.stable_id for each in moving)]
    covers += [stable_id for each in moving for stable_id in each.stable_ids]
    return Blame(
        cause=array_cause(array),
        drift=told.drift,
        move=told,
        arrays=(array.name,),
        covers=tuple(dict.fromkeys(covers)),
        together=len(moving),
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
