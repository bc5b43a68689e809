"""What a running resync, recovery, check or reshape takes from the members.

The kernel runs it at ``sync_speed_max`` while nobody else wants the drives and slows it
toward ``sync_speed_min`` as soon as somebody does (drivers/md/md.c md_do_sync; the
defaults are 1000 and 200000 KiB/s a member, Documentation/admin-guide/md.rst). Under a
full load it therefore takes at least the minimum, and at most what it runs at now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from arraygauge.inventory.values import Array, SyncAction
from arraygauge.theory.capacity import capacity
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.loads import Loads, MemberLoad
from arraygauge.theory.sync_loads import SyncWork, check, recovery, repair, reshape, resync
from arraygauge.units import KIB
from arraygauge.values import frozen

LEAST_SYNC_BYTES_PER_SECOND = 1000 * KIB
MOST_SYNC_BYTES_PER_SECOND = 200_000 * KIB


@frozen
class Background:
    """Bytes per second read and written by member name: at least, and at most."""

    least: Mapping[str, MemberLoad] = field(default_factory=dict)
    most: Mapping[str, MemberLoad] = field(default_factory=dict)


IDLE = Background()


def background_of(array: Array, geometry: Geometry) -> Background:
    """What the array's own synchronisation moves; nothing while it is idle or delayed."""
    work = _work(array, geometry)
    if work is None or array.sync_delayed:
        return IDLE
    now = array.sync_bytes_per_second or MOST_SYNC_BYTES_PER_SECOND
    return Background(
        least=_moved(array, work.loads.ceiling, min(now, LEAST_SYNC_BYTES_PER_SECOND)),
        most=_moved(array, work.loads.floor, now),
    )


def _work(array: Array, geometry: Geometry) -> SyncWork | None:
    size = capacity(geometry, (array.component_bytes or 0,) * geometry.slots)
    if array.sync_action is SyncAction.CHECK:
        return check(geometry, size)
    if array.sync_action is SyncAction.RESYNC:
        return resync(geometry, size)
    if array.sync_action is SyncAction.REPAIR:
        return repair(geometry, size)
    if array.sync_action is SyncAction.RESHAPE:
        return reshape(geometry, size, geometry.slots)
    filling = next((member.slot for member in array.members if member.awaits_data), None)
    if array.sync_action is SyncAction.RECOVER and filling is not None:
        return recovery(geometry, size, filling)
    return None


def _moved(array: Array, loads: Loads, rate: float) -> dict[str, MemberLoad]:
    """By member name, at ``rate`` bytes a second as md counts them."""
    return {
        member.name: MemberLoad(read=load.read * rate, write=load.write * rate)
        for slot, load in enumerate(loads.members)
        if (member := array.member_in_slot(slot)) is not None
    }
