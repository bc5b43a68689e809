"""Each member of a group against its peers, look after look.

Of several explanations the one that accuses fewest is taken: a busy member before a slow
one, a path before the members behind it. What is known of chance: with independent looks of
a member 10 % above its peers and a deviation of 0.35 (one look at 30 operations of
exponential times has 0.2), ``cusum.average_run_length`` gives 9e6 looks to a false
suspicion, some 200 days of load, and to a false alarm more than the age of the drive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from math import log

from arraygauge.judge.passive.compare import (
    FACE_VALUE,
    HIGH_WAIT,
    Comparison,
    compare,
    enough,
    slow_together,
)
from arraygauge.judge.passive.cusum import HIGHEST, NONE, SUSPECT_AT, SUSPICION_ONLY, Evidence
from arraygauge.judge.passive.intervals import Gap, Interval, joined
from arraygauge.judge.passive.past import Past
from arraygauge.judge.passive.peers import Peers
from arraygauge.values import frozen

INTERVAL_SECONDS = 2.0
LONGEST_LOOK_SECONDS = 10.0
"""Little I/O is gathered for as long before it is judged or let go."""
WAIT_REFERENCE = log(HIGH_WAIT)
"""Allowance on log ratios of waits, which differ more than demands do."""


@frozen
class Look:
    """What one look at a member told: its comparison, if its peers and it had enough I/O.
    ``compared`` counts the looks so far that told one."""

    moment: float
    enough: bool
    comparison: Comparison | None
    compared: int = 0


@frozen
class MembersWatch:
    """One group, look after look. A look is one interval, or as many as enough I/O takes.

    ``slow`` and ``waiting`` are the evidence against members, by name, ``paths`` that against
    links, by id, ``together`` that against all. ``looks`` are the last that told anything.
    """

    peers: Peers
    past: Past
    began_seconds: float | None = None
    gathering: Mapping[str, Interval] = field(default_factory=dict)
    set_aside: frozenset[str] = frozenset()
    slow: dict[str, Evidence] = field(default_factory=dict)
    waiting: dict[str, Evidence] = field(default_factory=dict)
    paths: Mapping[str, Evidence] = field(default_factory=dict)
    together: Evidence = NONE
    looks: Mapping[str, Look] = field(default_factory=dict)
    moment: float = 0.0

    def with_intervals(self, moment: float, found: Mapping[str, Interval | Gap]) -> MembersWatch:
        """The watch after the interval that ended at ``moment``, seconds on a clock that does
        not step. A member with a gap is left out of the look going on."""
        gaps = {name for name in self.peers.members if not isinstance(found.get(name), Interval)}
        set_aside = self.set_aside | gaps
        gathering = {
            name: joined([self.gathering[name], each] if name in self.gathering else [each])
            for name in self.peers.members
            if name not in set_aside and isinstance(each := found.get(name), Interval)
        }
        began = moment if self.began_seconds is None else self.began_seconds
        gathered = replace(
            self,
            began_seconds=began,
            gathering=gathering,
            set_aside=set_aside,
            moment=moment,
        )
        ready = gathering and all(enough(each) for each in gathering.values())
        if ready or moment - began >= LONGEST_LOOK_SECONDS - 1.5 * INTERVAL_SECONDS:
            return gathered._looked(moment)
        return gathered

    def _looked(self, moment: float) -> MembersWatch:
        """The look is taken: the evidence moves, and the next look begins."""
        found = self.gathering
        active = {name: enough(each) for name, each in found.items()}
        told = {name: _told(name, found, self.peers) for name in found}
        paths = {
            link: self.paths.get(link, NONE).with_look(together, moment)
            for link, members in self.peers.paths
            if (together := slow_together(members, found, self.peers)) or link in self.paths
        }
        accused = any(each.total for each in (*self.slow.values(), *paths.values()))
        settled = not accused and not self.together.total
        past, slower = self.past.with_look(found, learn=settled)
        return replace(
            self,
            began_seconds=None,
            gathering={},
            set_aside=frozenset(),
            slow=self.slow
            | {
                name: self.slow.get(name, NONE).with_look(
                    each.slowness, moment, highest=_highest(each, past, found[name])
                )
                for name, each in told.items()
                if each is not None
            },
            waiting=self.waiting
            | {
                name: self.waiting.get(name, NONE).with_look(
                    each.waiting, moment, reference=WAIT_REFERENCE
                )
                for name, each in told.items()
                if each is not None
            },
            paths=paths,
            past=past,
            together=self.together if slower is None else self.together.with_look(slower, moment),
            looks={
                **self.looks,
                **{
                    name: self._look(name, moment, told[name], is_active=is_active)
                    for name, is_active in active.items()
                    if is_active or name not in self.looks
                },
            },
        )

    def _look(self, name: str, moment: float, told: Comparison | None, *, is_active: bool) -> Look:
        before = self.looks[name].compared if name in self.looks else 0
        compared = before + (told is not None)
        return Look(moment=moment, enough=is_active, comparison=told, compared=compared)

    @property
    def rising(self) -> tuple[str, ...]:
        """Members with evidence against them half way to suspicion."""
        return tuple(name for name, each in self.slow.items() if each.total >= SUSPECT_AT / 2)


def watch_members(peers: Peers) -> MembersWatch:
    """A watch that has seen nothing yet."""
    return MembersWatch(peers=peers, past=Past(heads=peers.heads))


def _told(name: str, found: Mapping[str, Interval], peers: Peers) -> Comparison | None:
    """A member against all others, or against those behind the same path if it is less
    slow beside them: what a path does to all of them is no fault of one."""
    others = [other for other in found if other != name]
    widely = compare(name, others, found, peers)
    siblings = [other for other in others if other in peers.siblings(name)]
    closely = compare(name, siblings, found, peers)
    if widely is None or closely is None:
        return widely
    return min(widely, closely, key=lambda each: each.slowness)


def _highest(told: Comparison, past: Past, interval: Interval) -> float:
    """A drive that looks many times slower alarms only where the group is known to do more."""
    plain = told.demand <= FACE_VALUE or past.has_done_more(interval)
    return HIGHEST if plain else SUSPICION_ONLY
