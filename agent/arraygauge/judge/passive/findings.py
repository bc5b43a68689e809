"""Findings from the passive watch: members and paths that are slow.

Only what is alarming is a finding; a suspicion asks for a probe instead.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from arraygauge.inventory.values import Host
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.passive.cusum import NONE, SUSPECT_AT
from arraygauge.judge.passive.members import MembersWatch
from arraygauge.judge.passive.scope import Body, Scope, link_cause, link_causes, unseen_cause
from arraygauge.judge.passive.values import (
    Certainty,
    Grounds,
    LongWait,
    SharedPath,
    SlowMember,
    Unjudged,
)
from arraygauge.judge.passive.watch import PassiveWatch, Watched
from arraygauge.values import frozen

SETTLED_LOOKS = 30
"""Comparisons, a minute of load, before a member that looks well is said to be."""
HALF_PACE = 2.0
"""From this ratio on a member holds a stripe to half of its pace or less."""

UNSEEN_PATH = "a path the kernel does not show"


@frozen
class SlowFacts:
    """A member that takes ``ratio`` times as long as its peers for the same work; ``even``:
    they carry the same load by the array's level."""

    name: str
    array_name: str
    ratio: float
    peers: tuple[str, ...]
    even: bool


@frozen
class PathFacts:
    """Members that take ``ratio`` times as long as the others, or (``by_past``) as they did."""

    link_name: str | None
    array_name: str
    members: tuple[str, ...]
    ratio: float
    by_past: bool


def observe_members(host: Host, watched: Iterable[Watched]) -> Observation:
    """Members and paths that are alarmingly slow. It speaks for those that had enough I/O to be
    compared for a while and are not suspected either."""
    findings: list[Finding] = []
    well: set[str] = set()
    for scope, watch in watched:
        for group in watch.groups:
            findings += _of_group(host, scope, group, watch)
            well |= set(_well(scope, group, watch))
    return Observation(
        origin=Origin.PASSIVE,
        findings=tuple(findings),
        looked_at=frozenset(well),
        matters=frozenset({Matter.SLOW_MEMBER, Matter.SLOW_PATH}),
    )


def _of_group(
    host: Host, scope: Scope, group: MembersWatch, watch: PassiveWatch
) -> Iterator[Finding]:
    bodies = dict(scope.bodies)
    members = set(group.peers.members)
    for one in watch.seen:
        if not isinstance(one, SlowMember | SharedPath) or one.certainty is Certainty.SUSPECTED:
            continue
        if isinstance(one, SlowMember) and one.name in members:
            yield _of_member(scope, group, bodies[one.name], one)
        if isinstance(one, SharedPath) and members.issuperset(one.members):
            yield _of_path(host, scope, one)


def _of_member(scope: Scope, group: MembersWatch, body: Body, slow: SlowMember) -> Finding:
    sets_pace = group.peers.even and slow.ratio >= HALF_PACE
    return Finding(
        origin=Origin.PASSIVE,
        cause=Cause(stable_id=body.stable_id, name=body.name),
        matter=Matter.SLOW_MEMBER,
        severity=Severity.MAJOR if sets_pace else Severity.MINOR,
        arrays=(scope.array_name,),
        signature="slow",
        facts=SlowFacts(
            name=slow.name,
            array_name=scope.array_name,
            ratio=slow.ratio,
            peers=tuple(name for name in group.peers.members if name != slow.name),
            even=group.peers.even,
        ),
    )


def _of_path(host: Host, scope: Scope, path: SharedPath) -> Finding:
    link = host.link(path.link) if path.link is not None else None
    name = link.name if link is not None else path.link
    known = link_cause(path.link) if path.link is not None else unseen_cause(scope.array_id)
    return Finding(
        origin=Origin.PASSIVE,
        cause=Cause(stable_id=known, name=name or UNSEEN_PATH),
        matter=Matter.SLOW_PATH,
        severity=Severity.MINOR,
        arrays=(scope.array_name,),
        signature=" ".join(path.members),
        facts=PathFacts(
            link_name=name,
            array_name=scope.array_name,
            members=path.members,
            ratio=path.ratio,
            by_past=path.grounds is Grounds.PAST,
        ),
    )


def _well(scope: Scope, group: MembersWatch, watch: PassiveWatch) -> Iterator[str]:
    """Members, and the paths of a group all of whose members are, that are not slow."""
    unjudged = {one.name for one in watch.seen if isinstance(one, Unjudged)}
    bodies = dict(scope.bodies)
    behind = {name for one in watch.seen if isinstance(one, SharedPath) for name in one.members}
    settled = [
        name
        for name in group.peers.members
        if name not in unjudged
        and (look := group.looks.get(name)) is not None
        and look.compared >= SETTLED_LOOKS
    ]
    for name in settled:
        if group.slow.get(name, NONE).total < SUSPECT_AT or name in behind:
            yield bodies[name].stable_id
    if len(settled) == len(group.peers.members) and not behind:
        yield unseen_cause(scope.array_id)
        yield from link_causes(group.peers)


def suspected(watch: PassiveWatch) -> bool:
    """Whether a probe would tell something: there is evidence, and not enough of it."""
    return any(
        isinstance(one, LongWait)
        or (isinstance(one, SlowMember | SharedPath) and one.certainty is Certainty.SUSPECTED)
        for one in watch.seen
    )
