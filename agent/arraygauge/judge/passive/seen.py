"""What the evidence amounts to: whom to suspect, whom to alarm of, and whom not to judge."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from arraygauge.judge.passive.compare import HIGH_WAIT
from arraygauge.judge.passive.cusum import ALARM_AT, Evidence
from arraygauge.judge.passive.members import Look, MembersWatch
from arraygauge.judge.passive.values import (
    BusyMember,
    Certainty,
    Grounds,
    LongWait,
    Seen,
    SharedPath,
    SlowMember,
    Unjudgeable,
    Unjudged,
)

JUDGED_FOR_SECONDS = 60.0
"""A member with no look for this long is said not to be judged."""
BEGAN_TOGETHER_SECONDS = 120.0
"""Two members that turn slow this close together have something in common, even unseen."""


def seen(watch: MembersWatch) -> tuple[Seen, ...]:
    """All there is to say of a group now: its members are alike where nothing is said."""
    blamed = tuple(_paths(watch))
    behind = {name for path in blamed for name in path.members}
    slow = [] if _all_slower(watch, blamed) else list(_slow(watch, behind))
    accused = behind | {each.name for each in slow}
    return (
        *blamed,
        *slow,
        *_busy(watch, accused),
        *_long_waits(watch, accused),
        *_unjudged(watch),
    )


def _all_slower(watch: MembersWatch, blamed: tuple[SharedPath, ...]) -> bool:
    return any(path.members == watch.peers.members for path in blamed)


def _paths(watch: MembersWatch) -> Iterator[SharedPath]:
    """Links whose members are slow together; then members that turned slow together without
    a link that explains it; then all, if they are slower than they were."""
    explained: set[str] = set()
    narrowest = sorted(watch.peers.paths, key=lambda path: -len(path[1]))
    for link, members in narrowest:
        evidence = watch.paths.get(link)
        if evidence is not None and evidence.suspicious and not members <= explained:
            explained |= members
            yield _path(link, sorted(members), evidence, Grounds.DEMAND)
    unseen = _turned_together(watch, explained)
    if len(unseen) >= 2 and any(watch.slow[name].suspicious for name in unseen):
        worst = max((watch.slow[name] for name in unseen), key=lambda each: each.total)
        yield _path(None, unseen, worst, Grounds.DEMAND)
    elif watch.together.suspicious and not explained:
        yield _path(watch.peers.common, watch.peers.members, watch.together, Grounds.PAST)


def _turned_together(watch: MembersWatch, explained: set[str]) -> list[str]:
    rising = [name for name in watch.rising if name not in explained]
    if not rising:
        return []
    first = max(rising, key=lambda name: watch.slow[name].total)
    since = watch.slow[first].since_seconds
    return [
        name
        for name in rising
        if abs(watch.slow[name].since_seconds - since) <= BEGAN_TOGETHER_SECONDS
    ]


def _path(
    link: str | None, members: Iterable[str], evidence: Evidence, grounds: Grounds
) -> SharedPath:
    return SharedPath(
        link=link,
        members=tuple(members),
        certainty=_certainty(evidence),
        grounds=grounds,
        ratio=evidence.ratio,
        since_seconds=evidence.since_seconds,
    )


def _certainty(evidence: Evidence) -> Certainty:
    return Certainty.ALARMED if evidence.total >= ALARM_AT else Certainty.SUSPECTED


def _slow(watch: MembersWatch, behind: set[str]) -> Iterator[SlowMember]:
    for name, evidence in watch.slow.items():
        if evidence.suspicious and name not in behind:
            yield SlowMember(
                name=name,
                certainty=_certainty(evidence),
                grounds=Grounds.DEMAND,
                ratio=evidence.ratio,
                since_seconds=evidence.since_seconds,
            )


def _long_waits(watch: MembersWatch, accused: set[str]) -> Iterator[LongWait]:
    for name, evidence in watch.waiting.items():
        if evidence.suspicious and name not in accused:
            yield LongWait(
                name=name, wait_ratio=evidence.ratio, since_seconds=evidence.since_seconds
            )


def _busy(watch: MembersWatch, accused: set[str]) -> Iterator[BusyMember]:
    for name, look in watch.looks.items():
        told = look.comparison
        if told is None or name in accused or not _fresh(watch, look):
            continue
        if told.more_work and told.wait >= HIGH_WAIT:
            yield BusyMember(name=name, work_ratio=told.work, wait_ratio=told.wait)


def _unjudged(watch: MembersWatch) -> Iterator[Unjudged]:
    for name in watch.peers.members:
        look = watch.looks.get(name)
        reason = _reason(watch, look)
        if reason is not None:
            yield Unjudged(name=name, reason=reason)


def _reason(watch: MembersWatch, look: Look | None) -> Unjudgeable | None:
    if len(watch.peers.members) < 2:
        return Unjudgeable.NO_PEERS
    if look is None or not look.enough or not _fresh(watch, look):
        return Unjudgeable.TOO_LITTLE
    if look.comparison is None:
        return Unjudgeable.NO_PEERS
    return None if look.comparison.alike else Unjudgeable.UNLIKE_LOAD


def _fresh(watch: MembersWatch, look: Look) -> bool:
    return watch.moment - look.moment <= JUDGED_FOR_SECONDS
