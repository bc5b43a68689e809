"""What a running resync, recovery, check or reshape takes from the members.

The kernel runs it at ``sync_speed_max`` while nobody else wants the drives and slows it
toward ``sync_speed_min`` as soon as somebody does (drivers/md/md.c md_do_sync; the
defaults are 1000 and 200000 KiB/s a member, Documentation/admin-guide/md.rst). Under a
full load it therefore takes at least the minimum, and at most what it runs at now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from arraygauge.inventory.values import Array, Level, Member, MemberState, SyncAction
from arraygauge.theory.loads import MemberLoad
from arraygauge.units import KIB

LEAST_SYNC_BYTES_PER_SECOND = 1000 * KIB
MOST_SYNC_BYTES_PER_SECOND = 200_000 * KIB

_MOVING = (
    SyncAction.RESYNC,
    SyncAction.RECOVER,
    SyncAction.CHECK,
    SyncAction.REPAIR,
    SyncAction.RESHAPE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """Bytes per second read and written by member name: at least, and at most."""

    least: Mapping[str, MemberLoad] = field(default_factory=dict)
    most: Mapping[str, MemberLoad] = field(default_factory=dict)


IDLE = Background()


def background_of(array: Array) -> Background:
    """What the array's own synchronisation moves; nothing while it is idle or delayed."""
    if array.sync_action not in _MOVING or array.sync_delayed:
        return IDLE
    now = array.sync_bytes_per_second or MOST_SYNC_BYTES_PER_SECOND
    least = min(now, LEAST_SYNC_BYTES_PER_SECOND)
    return Background(least=_moved(array, least), most=_moved(array, now))


def _moved(array: Array, rate: float) -> dict[str, MemberLoad]:
    return {
        member.name: _share(array, member, rate)
        for member in array.members
        if member.slot is not None and MemberState.FAULTY not in member.states
    }


def _share(array: Array, member: Member, rate: float) -> MemberLoad:
    """A recovery reads the members in order and writes the one being filled; a resync of
    mirrors reads the first and writes the others; a check reads all; a reshape moves every
    byte from its old place to its new one."""
    if array.sync_action is SyncAction.RESHAPE:
        return MemberLoad(read=rate, write=rate)
    if array.sync_action is SyncAction.RECOVER:
        filling = MemberState.IN_SYNC not in member.states
        return MemberLoad(write=rate) if filling else MemberLoad(read=rate)
    copies = array.level in (Level.RAID1, Level.RAID10)
    if array.sync_action is SyncAction.RESYNC and copies and member.slot != 0:
        return MemberLoad(write=rate)
    return MemberLoad(read=rate)
