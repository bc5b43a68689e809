"""The passive watch over one array: readings of its members' counters in, what they tell out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from arraygauge.inventory.counters import IoCounters
from arraygauge.judge.passive.hangs import HangWatch
from arraygauge.judge.passive.hung_path import hung_path
from arraygauge.judge.passive.intervals import Gap, GapReason, interval_between
from arraygauge.judge.passive.members import INTERVAL_SECONDS, MembersWatch, watch_members
from arraygauge.judge.passive.peers import Peers, names_of
from arraygauge.judge.passive.scope import Scope, link_causes, unseen_cause
from arraygauge.judge.passive.seen import seen
from arraygauge.judge.passive.values import HungPath, Seen, Stall
from arraygauge.values import frozen

Readings = Mapping[str, IoCounters | None]


@frozen
class PassiveWatch:
    """One array, reading after reading.

    ``seen`` is what the members' comparison tells at the last whole interval; ``stalls`` are
    those going on and those the last reading found over, ``hung_path`` what drives that hang
    have in common.
    """

    groups: tuple[MembersWatch, ...]
    hangs: tuple[HangWatch, ...]
    seen: tuple[Seen, ...] = ()
    marked_at_seconds: float | None = None
    marked: Readings | None = None
    probed: frozenset[str] = frozenset()
    hung_path: HungPath | None = None

    def with_readings(
        self, moment: float, readings: Readings, probed: frozenset[str] = frozenset()
    ) -> PassiveWatch:
        """The watch after all members' counters were read at ``moment``, seconds on a clock that
        does not step. For a member that is a partition its disk's counters are the right ones:
        what else the disk does then shows as work. ``probed`` are members on which the agent's
        own probes were at work since the reading before: no load to compare anything by."""
        hangs = tuple(each.with_reading(moment, readings.get(each.device)) for each in self.hangs)
        watched = replace(
            self,
            probed=self.probed | probed,
            hangs=hangs,
            hung_path=hung_path((each.peers for each in self.groups), hangs, self.hung_path),
        )
        if self.marked is None or self.marked_at_seconds is None:
            return replace(watched, marked=readings, marked_at_seconds=moment, probed=frozenset())
        seconds = moment - self.marked_at_seconds
        return (
            watched
            if 0 < seconds < 0.95 * INTERVAL_SECONDS
            else watched._compared(moment, seconds, readings)
        )

    def _compared(self, moment: float, seconds: float, readings: Readings) -> PassiveWatch:
        before = self.marked or {}
        found = {
            name: Gap(reason=GapReason.OWN_PROBE)
            if name in self.probed
            else interval_between(before.get(name), readings[name], seconds, INTERVAL_SECONDS)
            for name in readings
        }
        groups = tuple(each.with_intervals(moment, found) for each in self.groups)
        return replace(
            self,
            groups=groups,
            seen=tuple(one for each in groups for one in seen(each)),
            marked=readings,
            marked_at_seconds=moment,
            probed=frozenset(),
        )

    def after_gap(self) -> PassiveWatch:
        """The watch after a time of which the counters tell nothing, such as a sleep of the
        machine: the evidence stays, the next reading is a first one."""
        return replace(
            self,
            hangs=tuple(HangWatch(device=each.device) for each in self.hangs),
            marked=None,
            marked_at_seconds=None,
            probed=frozenset(),
            hung_path=None,
        )

    @property
    def stalls(self) -> tuple[Stall, ...]:
        return tuple(each.stall for each in self.hangs if each.stall is not None)

    @property
    def wanted_seconds(self) -> float:
        """How soon the next reading is wanted."""
        return min((each.wanted_seconds for each in self.hangs), default=INTERVAL_SECONDS)


def watch_array(groups: tuple[Peers, ...]) -> PassiveWatch:
    """A watch that has seen nothing yet; begin anew when the members or their roles change."""
    return PassiveWatch(
        groups=tuple(watch_members(group) for group in groups),
        hangs=tuple(HangWatch(device=name) for name in names_of(groups)),
    )


Watched = tuple[Scope, PassiveWatch]
"""An array with the watch over it."""


def causes_watched(watched: Iterable[Watched]) -> frozenset[str]:
    """The stable ids of all causes that the watch can find anything on."""
    found: set[str] = set()
    for scope, _ in watched:
        found |= {body.stable_id for _, body in scope.bodies}
        found.add(unseen_cause(scope.array_id))
        found |= {cause for peers in scope.groups for cause in link_causes(peers)}
    return frozenset(found)
