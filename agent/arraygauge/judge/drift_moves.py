"""How each cause moves against its own past, one pass after the other. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from statistics import median

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
from arraygauge.judge.values import ArrayVerdict, DeviceVerdict, Status
from arraygauge.values import frozen

LEANING = SUMS.decision / 4
"""A member whose own sum has come so far when its array's chart alarms explains the array."""
SUDDEN_SHARE = 0.2
SUDDEN_SPREADS = 10.0
"""A member that falls so far below its own past from one pass to the next, by both, while its
peers keep theirs, is told at once. Noise of a relative spread of 2 % does not come there even
with a wild reading of a tenth on top."""
PEERS_KEEP = 0.1


@frozen
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
    return replace(max(before, move, key=distance_of), stable_ids=ids)


def distance_of(move: Move) -> tuple[bool, float]:
    """For putting moves in order."""
    sums = move.watched.state.sums
    return move.drift is not None, max(sums.below, sums.above)


def with_sudden(status: Status, moves: Mapping[str, Move]) -> dict[str, Move]:
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
