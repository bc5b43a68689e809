"""The passive watch over one array: readings of its members' counters in, what they tell out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from arraygauge.inventory.counters import IoCounters
from arraygauge.judge.passive.hangs import HangWatch
from arraygauge.judge.passive.intervals import interval_between
from arraygauge.judge.passive.members import INTERVAL_SECONDS, MembersWatch, watch_members
from arraygauge.judge.passive.peers import Peers, names_of
from arraygauge.judge.passive.seen import seen
from arraygauge.judge.passive.values import Seen, Stall

Readings = Mapping[str, IoCounters | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class PassiveWatch:
    """One array, reading after reading.

    ``seen`` is what the members' comparison tells at the last whole interval; ``stalls`` are
    those going on and those the last reading found over.
    """

    groups: tuple[MembersWatch, ...]
    hangs: tuple[HangWatch, ...]
    seen: tuple[Seen, ...] = ()
    marked_at_seconds: float | None = None
    marked: Readings | None = None

    def with_readings(self, moment: float, readings: Readings) -> PassiveWatch:
        """The watch after all members' counters were read at ``moment``, seconds on a clock that
        does not step. For a member that is a partition its disk's counters are the right ones:
        what else the disk does then shows as work."""
        watched = replace(
            self,
            hangs=tuple(
                each.with_reading(moment, readings.get(each.device)) for each in self.hangs
            ),
        )
        if self.marked is None or self.marked_at_seconds is None:
            return replace(watched, marked=readings, marked_at_seconds=moment)
        seconds = moment - self.marked_at_seconds
        return (
            watched
            if 0 < seconds < 0.95 * INTERVAL_SECONDS
            else watched._compared(moment, seconds, readings)
        )

    def _compared(self, moment: float, seconds: float, readings: Readings) -> PassiveWatch:
        before = self.marked or {}
        found = {
            name: interval_between(before.get(name), readings.get(name), seconds, INTERVAL_SECONDS)
            for name in readings
        }
        groups = tuple(each.with_intervals(moment, found) for each in self.groups)
        return replace(
            self,
            groups=groups,
            seen=tuple(one for each in groups for one in seen(each)),
            marked=readings,
            marked_at_seconds=moment,
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
