"""Findings of drift, one for each cause, and what is remembered of it from pass to pass. Pure.

What is told of a cause only grows while it lasts: its signature changes when it has got
much further, when its shape is known, or when there is new evidence; not with every figure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field, replace

from arraygauge.judge.change import Shape
from arraygauge.judge.drift import Course, Watched, accept_present
from arraygauge.judge.drift_causes import Blame, blame
from arraygauge.judge.drift_evidence import (
    Counts,
    DriftFacts,
    Peers,
    Sign,
    counts_of,
    low_links_of,
    peers_of,
)
from arraygauge.judge.drift_moves import Move, leaning_of, moves_of
from arraygauge.judge.drift_subjects import Subject, follow_pass, members_of, subjects_of
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.state import array_cause
from arraygauge.judge.values import Status
from arraygauge.values import frozen

STEPS = (0.05, 0.1, 0.2, 0.4)
"""Shares at which a change that goes on is worth telling again."""


@frozen
class Told:
    """What was told of a cause: its name, how many of ``STEPS`` it had passed, its shape, the
    evidence, and the stable ids of all that it explains."""

    name: str
    step: int
    shape: Shape
    signs: frozenset[Sign]
    covers: tuple[str, ...]


@frozen
class DriftMemory:
    """All that is kept from pass to pass and over restarts. ``told`` and ``counts`` by the
    stable ids of causes; ``counts`` are those from while a cause did as usual."""

    watched: tuple[Watched, ...] = ()
    told: Mapping[str, Told] = field(default_factory=dict)
    counts: Mapping[str, Counts] = field(default_factory=dict)


def observe_drift(status: Status, memory: DriftMemory) -> tuple[Observation, DriftMemory]:
    """What one pass shows against the past, and the memory for the next. It speaks only for
    what the pass read, and for arrays of which it read a member."""
    subjects = subjects_of(status)
    watched = follow_pass(memory.watched, subjects)
    moves = moves_of(subjects, watched)
    before = {cause: each.covers for cause, each in memory.told.items()}
    blamed = {each.cause.stable_id: each for each in blame(status, moves, before)}
    counts = counts_of(status.host)
    facts = {
        cause: _facts(status, each, moves, memory.counts.get(cause), counts.get(cause))
        for cause, each in blamed.items()
    }
    told = {
        cause: _told(each, facts[cause], memory.told.get(cause)) for cause, each in blamed.items()
    }
    looked = _looked_at(status, subjects)
    still = {
        cause: each for cause, each in memory.told.items() if cause not in looked | told.keys()
    }
    leaning = {cause for cause, move in moves.items() if move.leaning is not None}
    kept = {cause: each for cause, each in memory.counts.items() if cause in leaning | told.keys()}
    observation = Observation(
        origin=Origin.DRIFT,
        findings=tuple(_finding(each, facts[cause], told[cause]) for cause, each in blamed.items()),
        looked_at=looked,
    )
    return observation, DriftMemory(
        watched=watched, told={**still, **told}, counts={**counts, **kept}
    )


def accept_as_usual(
    memory: DriftMemory, stable_ids: Iterable[str]
) -> tuple[Observation, DriftMemory]:
    """A person says that what these do now is right: they learn anew, and so does what changed
    along with them. Whatever was told of that is over."""
    asked = set(stable_ids)
    over = {
        cause: each
        for cause, each in memory.told.items()
        if cause in asked or asked & set(each.covers)
    }
    along = {stable_id for each in over.values() for stable_id in each.covers}
    watched = tuple(
        accept_present(each) if _is_meant(each, asked, along) else each for each in memory.watched
    )
    told = {cause: each for cause, each in memory.told.items() if cause not in over}
    observation = Observation(origin=Origin.DRIFT, findings=(), looked_at=frozenset(over))
    return observation, replace(memory, watched=watched, told=told)


def _is_meant(watched: Watched, asked: set[str], along: set[str]) -> bool:
    stable_id = watched.usual.key.stable_id
    return stable_id in asked or (stable_id in along and leaning_of(watched) is not None)


def _looked_at(status: Status, subjects: Iterable[Subject]) -> frozenset[str]:
    read = {subject.cause.stable_id for subject in subjects if subject.reading is not None}
    above = {
        verdict.array.stable_id
        for verdict in status.arrays
        if read & members_of(status.host, verdict.array).keys()
    }
    return frozenset(read | above)


def _facts(
    status: Status,
    blamed: Blame,
    moves: Mapping[str, Move],
    before: Counts | None,
    now: Counts | None,
) -> DriftFacts:
    present = now or Counts()
    is_array = any(blamed.cause == array_cause(verdict.array) for verdict in status.arrays)
    return DriftFacts(
        drift=blamed.drift,
        is_array=is_array,
        of_array=blamed.move.cause == blamed.cause and is_array,
        together=blamed.together,
        peers=_peers(status, blamed.cause, moves),
        low_links=low_links_of(blamed.move.verdict),
        before=before or present,
        now=present,
    )


def _peers(status: Status, cause: Cause, moves: Mapping[str, Move]) -> Peers | None:
    """The other members of the first array that holds it; an array's own members."""
    for verdict in status.arrays:
        members = members_of(status.host, verdict.array)
        if cause.stable_id in (verdict.array.stable_id, *members):
            others = [moves[each].watched for each in members if each in moves]
            own = moves.get(cause.stable_id)
            return peers_of(
                verdict.array.name,
                [each for each in others if own is None or each is not own.watched],
            )
    return None


def _told(blamed: Blame, facts: DriftFacts, before: Told | None) -> Told:
    onset = blamed.drift.onset
    step = sum(abs(blamed.drift.share) >= each for each in STEPS)
    known = before is not None and onset.shape is Shape.UNTOLD
    return Told(
        name=blamed.cause.name,
        step=max(step, before.step) if before else step,
        shape=before.shape if before is not None and known else onset.shape,
        signs=facts.signs | (before.signs if before else frozenset()),
        covers=blamed.covers,
    )


def _finding(blamed: Blame, facts: DriftFacts, told: Told) -> Finding:
    faster = blamed.drift.course is Course.FASTER
    signs = " ".join(sorted(told.signs))
    return Finding(
        origin=Origin.DRIFT,
        cause=blamed.cause,
        matter=Matter.FASTER if faster else Matter.DRIFT,
        severity=Severity.INFORMATION if faster else Severity.MINOR,
        arrays=blamed.arrays,
        signature=f"{told.step} {told.shape} {signs}",
        facts=facts,
    )
