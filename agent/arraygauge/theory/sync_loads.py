"""What md reads and writes when it recovers, resyncs, checks, repairs or reshapes.

Loads are bytes of each slot for each byte *md counts*: the bytes of sync_completed
and of the speed limits. Those are bytes of one component, but for resync, check and
repair of raid10 they are bytes of the array (raid10.c sets resync_max_sectors to the
array's size, and md.c md_do_sync follows it), so the limits hold a raid10 back more.

Source: kernel 6.1, read: raid1.c raid1_sync_request, raid10.c raid10_sync_request and
sync_request_write, raid5.c need_this_block ("When syncing, or expanding we read
everything"), handle_parity_checks5 and 6, reshape_request. Left out: what a bitmap
lets a resync or a returning member skip, replacements of members that still serve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arraygauge.inventory.values import Level, SyncAction
from arraygauge.theory.capacity import Capacity
from arraygauge.theory.geometry import PARITY_LEVELS, Geometry, placements
from arraygauge.theory.loads import LevelLoads, Loads, MemberLoad, certain
from arraygauge.theory.redundancy import data_is_complete
from arraygauge.values import frozen

_SYNCING = (Level.RAID1, Level.RAID10, *PARITY_LEVELS)


@frozen
class SyncWork:
    """One pass of md over its members. The floor's loads are the heavier ones."""

    action: SyncAction
    loads: LevelLoads
    counted_bytes: int

    @property
    def bytes_read(self) -> float:
        """Bytes read from all members together."""
        return self.counted_bytes * sum(load.read for load in self.loads.ceiling.members)

    @property
    def bytes_written(self) -> tuple[float, float]:
        """Bytes written to all members together: (at least, at most)."""
        least, most = (
            self.counted_bytes * sum(load.write for load in loads.members)
            for loads in (self.loads.ceiling, self.loads.floor)
        )
        return least, most


def recovery(geometry: Geometry, capacity: Capacity, target: int) -> SyncWork | None:
    """Rebuilding slot ``target`` on a new member; other missing slots stay missing.

    None where nothing can be rebuilt: no redundancy, or too much already missing.
    """
    lost = replace(geometry, missing=geometry.missing | {target})
    if geometry.level not in _SYNCING or not data_is_complete(lost):
        return None
    reads = _recovery_reads(lost, target)
    loads = _loads(lost, reads, [float(slot == target) for slot in range(lost.slots)])
    return SyncWork(
        action=SyncAction.RECOVER,
        loads=certain(loads, "recovery: the whole component is rebuilt, used or not"),
        counted_bytes=capacity.component_bytes,
    )


def _recovery_reads(lost: Geometry, target: int) -> tuple[float, ...]:
    """Parity: every survivor once. Copies: the first that serves, in md's order."""
    if lost.level in PARITY_LEVELS:
        return tuple(float(slot in lost.serving) for slot in range(lost.slots))
    chunks = [chunk for chunk in placements(lost.level, lost.slots, lost.layout) if target in chunk]
    first = [next(slot for slot in chunk if slot not in lost.missing) for chunk in chunks]
    return tuple(first.count(slot) / len(chunks) for slot in range(lost.slots))


def check(geometry: Geometry, capacity: Capacity) -> SyncWork | None:
    """Reading every copy or every row to compare; None where md has nothing to compare."""
    return _verification(geometry, capacity, SyncAction.CHECK)


def resync(geometry: Geometry, capacity: Capacity) -> SyncWork | None:
    """Making copies or parity agree after a start or a crash, without a bitmap.

    raid1 reads one mirror and rewrites all others; raid10 and parity read everything
    and write only what differs: from nothing to every other copy or all parity.
    """
    return _verification(geometry, capacity, SyncAction.RESYNC)


def repair(geometry: Geometry, capacity: Capacity) -> SyncWork | None:
    """Reading everything and writing what differs, on every level."""
    return _verification(geometry, capacity, SyncAction.REPAIR)


def _verification(geometry: Geometry, capacity: Capacity, action: SyncAction) -> SyncWork | None:
    if geometry.level not in _SYNCING or not data_is_complete(geometry):
        return None
    whole_array = geometry.level is Level.RAID10
    copied = not geometry.parity
    read, writes = _copies_checked(geometry) if copied else _rows_checked(geometry)
    return SyncWork(
        action=action,
        loads=_checked_loads(geometry, action, read, writes),
        counted_bytes=capacity.usable_bytes if whole_array else capacity.component_bytes,
    )


def _copies_checked(geometry: Geometry) -> tuple[list[float], list[float]]:
    """(read, at most written) of each slot: all serving copies, all but the first."""
    chunks = [
        [slot for slot in chunk if slot not in geometry.missing]
        for chunk in placements(geometry.level, geometry.slots, geometry.layout)
    ]
    return _share(geometry, chunks), _share(geometry, [chunk[1:] for chunk in chunks])


def _share(geometry: Geometry, chunks: Sequence[Sequence[int]]) -> list[float]:
    return [
        sum(chunk.count(slot) for chunk in chunks) / len(chunks) for slot in range(geometry.slots)
    ]


def _rows_checked(geometry: Geometry) -> tuple[list[float], list[float]]:
    """Every serving member read; at most all parity written, spread evenly."""
    serving = [float(slot in geometry.serving) for slot in range(geometry.slots)]
    return serving, [share * geometry.parity / geometry.slots for share in serving]


def _checked_loads(
    geometry: Geometry, action: SyncAction, read: list[float], writes: list[float]
) -> LevelLoads:
    least = _loads(geometry, read, [0.0] * geometry.slots)
    if action is SyncAction.CHECK:
        return certain(least, "check: everything is read, nothing written unless a read fails")
    if action is SyncAction.RESYNC and geometry.level is Level.RAID1:
        return certain(_first_to_others(geometry), "raid1 resync: one mirror rewrites the others")
    return LevelLoads(
        floor=_loads(geometry, read, writes),
        ceiling=least,
        assumptions=(f"{action}: between nothing differing and everything rewritten",),
    )


def _first_to_others(geometry: Geometry) -> Loads:
    source, others = geometry.serving[0], geometry.serving[1:]
    return _loads(
        geometry,
        [float(slot == source) for slot in range(geometry.slots)],
        [float(slot in others) for slot in range(geometry.slots)],
    )


def reshape(geometry: Geometry, capacity: Capacity, previous_slots: int) -> SyncWork | None:
    """Turning ``previous_slots`` members of a parity level into ``geometry``'s.

    Every old row is read and every new row written, once. None for other levels:
    a mirror changes its count by recovery, and raid10's reshape is not modelled.
    """
    if not geometry.parity or geometry.missing:
        return None
    old = [float(slot < previous_slots) for slot in range(geometry.slots)]
    loads = _loads(geometry, old, [1.0] * geometry.slots)
    return SyncWork(
        action=SyncAction.RESHAPE,
        loads=certain(loads, "reshape: seeks between reading and writing places are not counted"),
        counted_bytes=capacity.component_bytes,
    )


def _loads(geometry: Geometry, reads: Sequence[float], writes: Sequence[float]) -> Loads:
    """Of a parity level every row's data also runs through the processor once."""
    return Loads(
        members=tuple(
            MemberLoad(read=read, write=write) for read, write in zip(reads, writes, strict=True)
        ),
        parity=float(geometry.slots - geometry.parity) if geometry.parity else 0.0,
    )
