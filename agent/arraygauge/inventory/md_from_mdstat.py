"""An Array from /proc/mdstat alone: what is left to say when sysfs is out of reach."""

from __future__ import annotations

from arraygauge.inventory.block_entry import BLOCK_CLASS
from arraygauge.inventory.md_words import parse_level
from arraygauge.inventory.mdstat import MdstatArray, MdstatMember
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Array, ArrayState, Member, MemberState, SyncAction

_ACTIONS = {
    "recovery": SyncAction.RECOVER,
    "resync": SyncAction.RESYNC,  # a repair prints this word too
    "reshape": SyncAction.RESHAPE,
    "check": SyncAction.CHECK,
}
_FLAGS = {
    "F": MemberState.FAULTY,
    "S": MemberState.SPARE,
    "J": MemberState.JOURNAL,
    "W": MemberState.WRITE_MOSTLY,
    "R": MemberState.REPLACEMENT,
}


def array_from_mdstat(reader: Reader, told: MdstatArray, stable_id: str) -> Array:
    """Everything mdstat says; None for what it does not print, slots above all."""
    progress = told.progress
    counted = told.raid_disks is not None and told.working_disks is not None
    return Array(
        name=told.name,
        stable_id=stable_id,
        level=parse_level(told.level or ""),
        level_text=told.level,
        layout=told.algorithm,
        chunk_bytes=told.chunk_bytes,
        raid_disks=told.raid_disks,
        state=_state(told),
        state_text=None,
        degraded=(told.raid_disks or 0) - (told.working_disks or 0) if counted else None,
        sync_action=_ACTIONS.get(progress.action, SyncAction.UNKNOWN) if progress else None,
        sync_done_bytes=progress.done_bytes if progress else None,
        sync_total_bytes=progress.total_bytes if progress else None,
        sync_bytes_per_second=progress.bytes_per_second if progress else None,
        sync_delayed=told.waiting == "DELAYED",
        mismatch_bytes=None,
        metadata_version=told.metadata,
        component_bytes=None,
        size_bytes=told.size_bytes,
        bitmap=None,
        stripe_cache_entries=None,
        worker_threads=None,
        members=tuple(_member(reader, member) for member in told.members),
        mdstat_broken=told.activity == "broken",
    )


def _state(told: MdstatArray) -> ArrayState:
    """mdstat does not tell clean from dirty: a running array is 'active'."""
    if told.activity == "active":
        by_access = {"read-only": ArrayState.READONLY, "auto-read-only": ArrayState.READ_AUTO}
        return by_access.get(told.access or "", ArrayState.ACTIVE)
    by_activity = {"broken": ArrayState.BROKEN, "inactive": ArrayState.INACTIVE}
    return by_activity.get(told.activity, ArrayState.UNKNOWN)


def _member(reader: Reader, told: MdstatMember) -> Member:
    return Member(
        name=told.name,
        present=reader.exists(f"{BLOCK_CLASS}/{told.name}/uevent"),
        slot=None,
        states=tuple(_FLAGS[flag] for flag in told.flags if flag in _FLAGS),
        state_text=None,
        errors=None,
        data_offset_bytes=None,
        size_bytes=None,
        bad_block_ranges=None,
    )
