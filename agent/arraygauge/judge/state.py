"""Findings from the kernel's own word on arrays and their members.

A member that md has let go of is not in any file any more; so who last served each slot is
remembered from look to look (``Serving``), and its loss keeps the drive's name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field

from arraygauge.inventory.values import Array, Host, SyncAction
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.health import health_of
from arraygauge.judge.values import Health, Protection
from arraygauge.values import frozen

Slot = tuple[str, int]
"""An array's stable id, and a slot of it."""


@frozen
class Serving:
    """Which drive last served each slot, and the arrays that were there; kept over restarts.

    ``names`` hold what the kernel called each stable id last.
    """

    slots: Mapping[Slot, Cause] = field(default_factory=dict)
    arrays: Mapping[str, str] = field(default_factory=dict)


@frozen
class ProtectionFacts:
    """What the words about a loss are made of."""

    array_name: str
    level_text: str
    health: Health
    sync_action: SyncAction | None
    sync_done_bytes: int | None
    sync_total_bytes: int | None
    sync_bytes_per_second: int | None


@frozen
class SyncFacts:
    """An array that is whole and at work on itself."""

    array_name: str
    action: SyncAction
    delayed: bool


@frozen
class CountFacts:
    """A number that should be nought: bad block ranges of a member, mismatched bytes."""

    array_name: str
    member_name: str | None
    count: int


def observe_state(host: Host, serving: Serving) -> tuple[Observation, Serving]:
    """All that the kernel's words show, and the memory for the next look."""
    after = _remembered(host, serving)
    findings = [
        finding
        for array in host.arrays
        for finding in (*_loss(host, array, after), *_marks(host, array))
    ]
    findings += _gone_arrays(host, serving)
    there = {device.stable_id for device in host.devices}
    there |= {array.stable_id for array in host.arrays}
    missed = {finding.cause.stable_id for finding in findings}
    observation = Observation(
        origin=Origin.STATE,
        findings=tuple(findings),
        existing=frozenset(there | missed),
    )
    return observation, after


def drive_of(host: Host, name: str) -> Cause | None:
    """The drive behind a member: a partition's disk, else the device itself; None when gone."""
    device = host.device(name)
    if device is None:
        return None
    disk = host.device(device.disk) if device.disk else None
    body = disk or device
    return Cause(stable_id=body.stable_id, name=body.name)


def array_cause(array: Array) -> Cause:
    return Cause(stable_id=array.stable_id, name=array.name)


def _remembered(host: Host, serving: Serving) -> Serving:
    """Slots as they are served now; those of arrays that are gone are kept until they are
    back, those beyond an array's width are not."""
    slots = {
        slot: cause
        for slot, cause in serving.slots.items()
        if (array := _by_id(host, slot[0])) is None or slot[1] < (array.raid_disks or 0)
    }
    for array in host.arrays:
        for member in array.members:
            cause = drive_of(host, member.name) if member.serving else None
            if cause is not None and member.slot is not None:
                slots[array.stable_id, member.slot] = cause
    return Serving(
        slots=slots, arrays={array.stable_id: array.name for array in host.arrays if array.running}
    )


def _by_id(host: Host, stable_id: str) -> Array | None:
    return next((array for array in host.arrays if array.stable_id == stable_id), None)


_LOSSES = {
    Protection.BROKEN: Matter.DATA_INCOMPLETE,
    Protection.NONE_LEFT: Matter.NO_REDUNDANCY,
    Protection.REDUCED: Matter.LESS_REDUNDANCY,
    Protection.STOPPED: Matter.ARRAY_STOPPED,
}


def _loss(host: Host, array: Array, serving: Serving) -> Iterator[Finding]:
    """One finding for each drive the array misses; for the array where none is known by name."""
    health = health_of(host, array)
    matter = _LOSSES.get(health.protection)
    if matter is None:
        return
    facts = ProtectionFacts(
        array_name=array.name,
        level_text=array.level_text or str(array.level),
        health=health,
        sync_action=array.sync_action,
        sync_done_bytes=array.sync_done_bytes,
        sync_total_bytes=array.sync_total_bytes,
        sync_bytes_per_second=array.sync_bytes_per_second,
    )
    for cause in _missed_drives(host, array, health, serving) or [array_cause(array)]:
        yield Finding(
            origin=Origin.STATE,
            cause=cause,
            matter=matter,
            severity=_severity(health),
            arrays=(array.name,),
            signature=f"{health.protection} {health.working}/{health.wanted} "
            f"{bool(health.rebuilding)}",
            facts=facts,
        )


def _severity(health: Health) -> Severity:
    """Degraded and idle is worse than degraded and rebuilding."""
    busy = bool(health.rebuilding)
    if health.protection is Protection.NONE_LEFT:
        return Severity.MAJOR if busy else Severity.CRITICAL
    if health.protection is Protection.REDUCED:
        return Severity.MINOR if busy else Severity.MAJOR
    return Severity.CRITICAL if health.protection is Protection.BROKEN else Severity.INFORMATION


def _missed_drives(host: Host, array: Array, health: Health, serving: Serving) -> list[Cause]:
    """By slot from memory. Where that does not know all, members still listed as failed too: one
    of those may be listed long after another drive has taken its slot."""
    known = [serving.slots.get((array.stable_id, slot)) for slot in health.missing_slots]
    if None in known or not known:
        known += [drive_of(host, name) for name in health.lost]
    named = {cause.stable_id: cause for cause in known if cause is not None}
    return list(named.values())


def _marks(host: Host, array: Array) -> Iterator[Finding]:
    """What md notes on arrays whose redundancy is whole: syncs, bad blocks, mismatches."""
    for member in array.members:
        if member.bad_block_ranges and member.serving:
            cause = drive_of(host, member.name) or array_cause(array)
            yield Finding(
                origin=Origin.STATE,
                cause=cause,
                matter=Matter.BAD_BLOCKS,
                severity=Severity.MAJOR,
                arrays=(array.name,),
                signature=f"{member.name} {member.bad_block_ranges}",
                facts=CountFacts(
                    array_name=array.name, member_name=member.name, count=member.bad_block_ranges
                ),
            )
    if array.mismatch_bytes and array.sync_action in (None, SyncAction.IDLE):
        yield Finding(
            origin=Origin.STATE,
            cause=array_cause(array),
            matter=Matter.MISMATCHES,
            severity=Severity.MINOR,
            arrays=(array.name,),
            signature=str(array.mismatch_bytes),
            facts=CountFacts(array_name=array.name, member_name=None, count=array.mismatch_bytes),
        )
    yield from _sync(array, health_of(host, array))


def _sync(array: Array, health: Health) -> Iterator[Finding]:
    whole = health.protection in (Protection.WHOLE, Protection.SETTLING, Protection.NEVER_ANY)
    action = array.sync_action
    if not whole or action in (None, SyncAction.IDLE, SyncAction.FROZEN, SyncAction.UNKNOWN):
        return
    yield Finding(
        origin=Origin.STATE,
        cause=array_cause(array),
        matter=Matter.SYNCHRONISING,
        severity=Severity.INFORMATION,
        arrays=(array.name,),
        signature=f"{action} {array.sync_delayed}",
        facts=SyncFacts(array_name=array.name, action=action, delayed=array.sync_delayed),
    )


def _gone_arrays(host: Host, serving: Serving) -> list[Finding]:
    """Arrays that ran at the last look and are not there at all: stopped, by whomever."""
    there = {array.stable_id for array in host.arrays}
    return [
        Finding(
            origin=Origin.STATE,
            cause=Cause(stable_id=stable_id, name=name),
            matter=Matter.ARRAY_GONE,
            severity=Severity.INFORMATION,
            arrays=(name,),
            signature="gone",
            facts=None,
        )
        for stable_id, name in serving.arrays.items()
        if stable_id not in there
    ]
