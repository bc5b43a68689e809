"""What each pass tells of every subject that is watched for drift. Pure.

A subject is a drive, a partition or an array that is whole: one with a member missing or
synchronising does other work, and tells nothing of what it usually does.
"""

from __future__ import annotations

from collections.abc import Iterable

from arraygauge.inventory.values import Array, BlockDevice, Host
from arraygauge.judge.baseline import BaselineKey, Reading, key_of, on_hardware, reading_of
from arraygauge.judge.drift import Watched, follow
from arraygauge.judge.findings import Cause
from arraygauge.judge.state import array_cause, drive_of
from arraygauge.judge.values import ArrayVerdict, DeviceVerdict, Status
from arraygauge.probe.values import Measurement
from arraygauge.values import frozen

FORGOTTEN_AFTER_PASSES = 5000
"""Without a reading: more than half a year of hourly passes."""


@frozen
class Subject:
    """One subject as a pass saw it. ``cause`` is whom a change of it is put down to: the drive
    behind a partition. ``key`` and ``reading`` are None where the pass gave nothing usable."""

    cause: Cause
    stable_id: str
    fingerprint: str
    verdict: ArrayVerdict | DeviceVerdict
    key: BaselineKey | None
    reading: Reading | None


def subjects_of(status: Status) -> tuple[Subject, ...]:
    """All that the pass looked at, arrays first."""
    arrays = (_of_array(status.host, verdict) for verdict in status.arrays)
    devices = (_of_device(status.host, verdict) for verdict in status.devices)
    return (*arrays, *devices)


def follow_pass(watched: Iterable[Watched], subjects: Iterable[Subject]) -> tuple[Watched, ...]:
    """All that is watched, one pass later. What the pass gave no reading of has a gap; what
    has had none for very long is forgotten."""
    read = {each.key: each for each in subjects if each.key is not None}
    known = {each.usual.key: each for each in watched}
    gaps = [follow(each, None) for key, each in known.items() if key not in read]
    read_on = [_one_more(known.get(key), key, subject) for key, subject in read.items()]
    return (*(each for each in gaps if each.state.unusable < FORGOTTEN_AFTER_PASSES), *read_on)


def _one_more(known: Watched | None, key: BaselineKey, subject: Subject) -> Watched:
    before = known.usual if known is not None else None
    usual = on_hardware(before, key, subject.fingerprint)
    current = known if known is not None and usual is before else Watched(usual=usual)
    return follow(current, subject.reading)


def members_of(host: Host, array: Array) -> dict[str, Cause]:
    """The causes behind its serving members, by stable id."""
    causes = (drive_of(host, member.name) for member in array.members if member.serving)
    return {cause.stable_id: cause for cause in causes if cause is not None}


def compares(verdict: ArrayVerdict) -> bool:
    """Whether the array does the work that it usually does: all its members serve."""
    return verdict.health.is_whole


def _of_array(host: Host, verdict: ArrayVerdict) -> Subject:
    array = verdict.array
    fingerprint = _array_fingerprint(host, array)
    return _subject(array_cause(array), array.stable_id, fingerprint, verdict, compares(verdict))


def _of_device(host: Host, verdict: DeviceVerdict) -> Subject:
    device = verdict.device
    cause = drive_of(host, device.name) or Cause(stable_id=device.stable_id, name=device.name)
    fingerprint = _drive_fingerprint(host, device)
    return _subject(cause, device.stable_id, fingerprint, verdict, True)


def _subject(
    cause: Cause,
    stable_id: str,
    fingerprint: str,
    verdict: ArrayVerdict | DeviceVerdict,
    comparable: bool,
) -> Subject:
    attempt = verdict.attempt
    made = attempt if isinstance(attempt, Measurement) and comparable else None
    reading = reading_of(made) if made is not None else None
    return Subject(
        cause=cause,
        stable_id=stable_id,
        fingerprint=fingerprint,
        verdict=verdict,
        key=key_of(stable_id, made) if made is not None and reading is not None else None,
        reading=reading,
    )


def _drive_fingerprint(host: Host, device: BlockDevice) -> str:
    """What makes it another drive, or another part of it. Not its port or what its link came
    to: a slower one is a reason to be told, and a faster one is accepted by a person."""
    disk = host.device(device.disk) if device.disk else None
    body = disk or device
    return " ".join(map(str, (body.model, body.transport, device.size_bytes)))


def _array_fingerprint(host: Host, array: Array) -> str:
    """Its shape and who serves in which slot."""
    slots = sorted(
        f"{member.slot}:{cause.stable_id}"
        for member in array.members
        if member.serving and (cause := drive_of(host, member.name)) is not None
    )
    shape = (array.level_text, array.layout, array.chunk_bytes, array.raid_disks)
    return " ".join(map(str, (*shape, array.component_bytes, *slots)))
