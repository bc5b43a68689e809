"""Several drives that stop to answer together: what they share does not, rather than each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from arraygauge.judge.passive.hangs import HangWatch
from arraygauge.judge.passive.peers import Peers
from arraygauge.judge.passive.values import HungPath

STOPS_AFTER_SECONDS = 60.0
"""A drive that worked a shorter while ago has not stopped turning."""


def hung_path(
    groups: Iterable[Peers], hangs: tuple[HangWatch, ...], before: HungPath | None
) -> HungPath | None:
    """The narrowest link behind which nothing completes while at least two drives wait; the one
    found ``before`` as long as there is a hang to tell of. Drives that rested for long may all
    be starting, by themselves."""
    hanging = {each.device for each in hangs if each.hang is not None}
    if not hanging or before is not None:
        return before if hanging else None
    stuck = {each.device for each in hangs if _is_stuck(each)}
    free = {each.device for each in hangs if each.rest_since is None} - stuck
    for link, members in sorted(_links(groups), key=lambda one: len(one[1])):
        if hanging <= members and len(members & stuck) >= 2 and not members & free:
            return HungPath(link=link, members=members)
    return None


def _is_stuck(watch: HangWatch) -> bool:
    stall = watch.stall
    return stall is not None and not stall.over and stall.rested_seconds < STOPS_AFTER_SECONDS


def _links(groups: Iterable[Peers]) -> Iterator[tuple[str, frozenset[str]]]:
    for peers in groups:
        yield from peers.paths
        if peers.common is not None:
            yield peers.common, frozenset(peers.members)
