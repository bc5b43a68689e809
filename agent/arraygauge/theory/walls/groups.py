"""Which slowed members share a wall: groups, found by leaving members out.

Walls are taken to nest like the links of a tree, and one that binds to be full. Then a
member speeds up without another exactly if the narrowest full wall around it also held
the other, or if that other's own wall could not be filled by those left in it. The first
kind only is met when the left-out member is bound by no wall within a wider full one;
under even and under proportional sharing that is the fastest, or the one nearest to
its solo rate. Under neither, a wall within a wall may go unseen; the wider one is found.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from math import prod
from typing import TypeVar

from arraygauge.theory.walls.readings import Evidence, Names, Reading

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Request:
    """Members to read together, and how often in all."""

    members: Names
    times: int = 1


Steps = Generator[Request, Reading, T]
"""Asks for runs, is sent their readings, and returns what it found."""


@dataclass(frozen=True, slots=True)
class Group:
    """Slowed members that share a wall, and how surely."""

    members: Names
    certainty: float = 1.0


def next_group(evidence: Evidence, rest: Names) -> Steps[Group]:
    """One group of the slowed members not yet in one; alone if it shares with none of them."""
    if len(rest) == 1 or (yield from _can_only_share(evidence, rest)):
        return Group(rest)
    group = Group(frozenset({(yield from _widest_bound(evidence, rest))}))
    while True:
        without = yield Request(evidence.everyone - group.members)
        more = evidence.risers(rest - group.members, without)
        if not more or not (yield from _mutual(evidence, group.members, more)):
            return group
        certainty = prod(evidence.certainty_of_rise(frozenset({name}), without) for name in more)
        group = Group(group.members | more, group.certainty * certainty)
        if not any(evidence.rise((n,), without) > evidence.doubtful for n in rest - group.members):
            return group


def _mutual(evidence: Evidence, group: Names, more: Names) -> Steps[bool]:
    """Whether the group speeds up without the members that speed up without it. Of a
    single member that is settled; a group may have a wall of its own within theirs."""
    if len(group) == 1:
        return True
    without = yield Request(evidence.everyone - more)
    return evidence.risen(group, without)


def _can_only_share(evidence: Evidence, rest: Names) -> Steps[bool]:
    """Two that stay clearly slowed with nobody else share with each other; so do three,
    unless two of them have a wall within the wall, which makes the third unlike them."""
    if len(rest) > 3 or not (len(rest) == 2 or evidence.alike(rest)):
        return False
    alone = yield Request(rest)
    return not evidence.risen(rest, alone) and evidence.slowed(rest, alone) == rest


def _widest_bound(evidence: Evidence, rest: Names) -> Steps[str]:
    """The member bound by the widest wall: the fastest, unless a challenger speeds up
    without it while it does not without the challenger."""
    candidate = max(sorted(rest), key=evidence.together.rates.__getitem__)
    tried: set[str] = set()
    while True:
        tried.add(candidate)
        without = yield Request(evidence.everyone - {candidate})
        challenger = _challenger(evidence, candidate, rest, without)
        if challenger in tried:
            return candidate
        without = yield Request(evidence.everyone - {challenger})
        if evidence.risers({candidate}, without):
            return candidate
        candidate = challenger


def _challenger(evidence: Evidence, candidate: str, rest: Names, without: Reading) -> str:
    """Who else may be bound by the widest wall, judged from a run without the candidate;
    the candidate itself where nobody is. Behind one wall all are alike. Where they are
    not, it is who comes nearest to the solo rate."""
    risers = evidence.risers(rest - {candidate}, without)
    if len(risers) < 2 or evidence.alike(risers | {candidate}):
        return candidate
    return max(sorted(risers | {candidate}), key=evidence.pace)
