"""/sys/block/mdX/md as an Array; where sysfs is mute, /proc/mdstat answers.

Kernel document: Documentation/admin-guide/md.rst. Units differ by file: component_size
is KiB (the document says sectors; the source prints KiB), sync_completed and
mismatch_cnt are sectors, chunk_size is bytes, sync_speed KiB/s. journal_mode is never
read: reading it takes the array's mutex, and a hung array would hang the reader.
"""

from __future__ import annotations

from typing import TypeVar

from arraygauge.inventory.block_entry import BLOCK_CLASS
from arraygauge.inventory.md_from_mdstat import array_from_mdstat
from arraygauge.inventory.md_member import read_members
from arraygauge.inventory.md_words import (
    SyncProgress,
    parse_array_state,
    parse_bitmap_location,
    parse_level,
    parse_new_and_old,
    parse_speed,
    parse_sync_action,
    parse_sync_completed,
)
from arraygauge.inventory.mdstat import MdstatArray
from arraygauge.inventory.problems import ProblemKind
from arraygauge.inventory.scalars import parse_count, parse_kib, parse_sectors
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Array

T = TypeVar("T")

_NO_SYNC = SyncProgress(done_bytes=None, total_bytes=None, delayed=False)


def read_array(reader: Reader, name: str, stable_id: str, told: MdstatArray) -> Array | None:
    """One array; ``told`` is what mdstat says of it.

    None, with a problem noted, if the array was taken apart while it was read.
    """
    md = f"{BLOCK_CLASS}/{name}/md"
    heard = array_from_mdstat(reader, told, stable_id)
    level_text = reader.text(f"{md}/level")
    state_text = reader.text(f"{md}/array_state", expected=True)
    sync_action = reader.value(f"{md}/sync_action", parse_sync_action)
    sync = reader.value(f"{md}/sync_completed", parse_sync_completed) or _NO_SYNC
    array = Array(
        name=name,
        stable_id=stable_id,
        level=parse_level(level_text) if level_text else heard.level,
        level_text=level_text or heard.level_text,
        layout=_first(reader.value(f"{md}/layout", parse_new_and_old), heard.layout),
        chunk_bytes=_first(reader.value(f"{md}/chunk_size", parse_new_and_old), heard.chunk_bytes),
        raid_disks=_first(reader.value(f"{md}/raid_disks", parse_new_and_old), heard.raid_disks),
        state=parse_array_state(state_text) if state_text else heard.state,
        state_text=state_text,
        degraded=_first(reader.value(f"{md}/degraded", parse_count), heard.degraded),
        sync_action=_first(sync_action, heard.sync_action),
        # sysfs moves on only at md's checkpoints, about every 1/16; mdstat tells each block.
        sync_done_bytes=_first(heard.sync_done_bytes, sync.done_bytes),
        sync_total_bytes=_first(heard.sync_total_bytes, sync.total_bytes),
        sync_bytes_per_second=_first(
            reader.value(f"{md}/sync_speed", parse_speed), heard.sync_bytes_per_second
        ),
        sync_delayed=sync.delayed or heard.sync_delayed,
        mismatch_bytes=reader.value(f"{md}/mismatch_cnt", parse_sectors),
        metadata_version=reader.text(f"{md}/metadata_version") or heard.metadata_version,
        component_bytes=reader.value(f"{md}/component_size", parse_kib),
        size_bytes=_first(
            reader.value(f"{BLOCK_CLASS}/{name}/size", parse_sectors), heard.size_bytes
        ),
        bitmap=reader.value(f"{md}/bitmap/location", parse_bitmap_location),
        stripe_cache_entries=reader.value(f"{md}/stripe_cache_size", parse_count),
        worker_threads=reader.value(f"{md}/group_thread_cnt", parse_count),
        members=read_members(reader, md) or heard.members,
        mdstat_broken=heard.mdstat_broken,
    )
    if not reader.exists(md):
        reader.note(md, ProblemKind.VANISHED, "the array was taken apart while it was read")
        return None
    return array


def _first(better: T | None, other: T | None) -> T | None:
    """The better source's word, else the other's."""
    return other if better is None else better
