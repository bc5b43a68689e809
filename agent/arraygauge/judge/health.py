"""The state of redundancy, from what md says and from what md does not say."""

from __future__ import annotations

from arraygauge.inventory.values import (
    Array,
    ArrayState,
    Host,
    Member,
    MemberState,
    SyncAction,
)
from arraygauge.judge.values import Health, Protection
from arraygauge.theory import Geometry, Survivable, data_is_complete, survivable
from arraygauge.theory.shape import geometry_of


def health_of(host: Host, array: Array) -> Health:
    """Present protection of one array. Only presence and md's words are used: no I/O."""
    geometry = geometry_of(host, array)
    missing = tuple(sorted(geometry.missing)) if geometry else ()
    wanted = array.raid_disks or len(array.members)
    return Health(
        protection=_protection(array, geometry),
        working=wanted - len(missing),
        wanted=wanted,
        lost=tuple(member.name for member in array.members if _is_lost(member)),
        silent=tuple(member.name for member in array.members if _is_silent(member)),
        missing_slots=missing,
        survivable=survivable(geometry) if geometry else Survivable(guaranteed=0, at_best=0),
        rebuilding=tuple(
            member.name
            for member in array.members
            if array.sync_action is SyncAction.RECOVER and member.awaits_data
        ),
    )


def _protection(array: Array, geometry: Geometry | None) -> Protection:
    if array.state is ArrayState.UNKNOWN:
        return Protection.UNKNOWN
    if not array.running:
        return Protection.STOPPED
    if array.state is ArrayState.BROKEN or array.mdstat_broken:
        return Protection.BROKEN
    if geometry is None:
        return Protection.UNKNOWN
    if not data_is_complete(geometry):
        return Protection.BROKEN
    return _of_complete_data(array, geometry)


def _of_complete_data(array: Array, geometry: Geometry) -> Protection:
    left = survivable(geometry).guaranteed
    if geometry.missing:
        return Protection.REDUCED if left else Protection.NONE_LEFT
    if not left:
        return Protection.NEVER_ANY  # raid0, linear, or a mirror made for one
    settling = array.sync_action is SyncAction.RESYNC
    return Protection.SETTLING if settling else Protection.WHOLE


def _is_lost(member: Member) -> bool:
    return not member.present or MemberState.FAULTY in member.states


def _is_silent(member: Member) -> bool:
    """Its device is gone and md still counts it as a member in good order."""
    return not member.present and MemberState.FAULTY not in member.states
