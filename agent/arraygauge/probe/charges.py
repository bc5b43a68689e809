"""Who pays for a burst: the device it went to, and everything that serves it. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import ceil, inf

from arraygauge.inventory.values import Array, BlockDevice, DeviceKind, Host, Member, MemberState
from arraygauge.probe.budget import Allowance, Charge
from arraygauge.probe.shares import Share, slot_shares
from arraygauge.probe.writes.endurance import WriteAllowance
from arraygauge.theory.shape import geometry_of
from arraygauge.theory.values import Direction, Workload


def shares_of(host: Host, name: str, workload: Workload) -> dict[str, Share]:
    """By stable id: what the named device and all below it move for a byte of user data.

    An array's members take the most they can have served (``slot_shares``); a partition's
    disk all of it; of a mapped device over several, each all of it, for how they share is
    not known here. Paths to one drive are that drive. Empty for a device that is not there.
    """
    whole = Share(read=1.0) if workload.direction is Direction.READ else Share(written=1.0)
    found: dict[str, Share] = {}
    _add(host, name, whole, workload, found)
    return found


def _add(host: Host, name: str, share: Share, workload: Workload, found: dict[str, Share]) -> None:
    device = host.device(name)
    if device is None or not share.moved:
        return
    found[device.stable_id] = found.get(device.stable_id, Share()) + share
    array = host.array(name)
    if array is None:
        for below in _bodies(host, device):
            _add(host, below, share, workload, found)
        return
    inner = min(workload.transfer_bytes, array.chunk_bytes or workload.transfer_bytes)
    for member, part in _member_shares(host, array, share, workload):
        _add(host, member, part, replace(workload, transfer_bytes=inner), found)


def _bodies(host: Host, device: BlockDevice) -> list[str]:
    """What a device that is no array is made of, each body once however many paths lead to it."""
    below = [host.device(name) for name in device.below]
    visible = [each for each in below if each and each.kind is not DeviceKind.HIDDEN_PATH]
    return list({each.stable_id: each.name for each in visible}.values())


def _member_shares(
    host: Host, array: Array, share: Share, workload: Workload
) -> list[tuple[str, Share]]:
    there = [m for m in array.members if m.present and MemberState.FAULTY not in m.states]
    geometry = geometry_of(host, array)
    if geometry is None:
        return [(member.name, share) for member in there]
    by_read = slot_shares(geometry, replace(workload, direction=Direction.READ))
    by_write = slot_shares(geometry, replace(workload, direction=Direction.WRITE))
    return [(member.name, _part(member, share, by_read, by_write)) for member in there]


def _part(
    member: Member, share: Share, by_read: tuple[Share, ...], by_write: tuple[Share, ...]
) -> Share:
    """One member's part of what the array moves. A journal is written with everything; a
    member not in sync yet is written like the others of its slot; a spare not at all."""
    if MemberState.JOURNAL in member.states:
        return Share(written=share.written)
    if member.slot is None or member.slot >= len(by_read):
        return Share()
    writes = by_write[member.slot]
    return Share(
        read=share.read * by_read[member.slot].read + share.written * writes.read,
        written=share.written * writes.written,
    )


def charges(
    shares: Mapping[str, Share], *, moved_bytes: int, busy_seconds: float
) -> tuple[Charge, ...]:
    """One charge for each device that a burst of ``moved_bytes`` of user data goes to.

    Bytes by share, rounded up; the whole time for each, for each may be busy in all of it.
    For a reservation pass the most the burst can move and the longest it can last.
    """
    return tuple(
        Charge(
            device_id=device_id,
            read_bytes=ceil(moved_bytes * share.read),
            written_bytes=ceil(moved_bytes * share.written),
            busy_seconds=busy_seconds,
        )
        for device_id, share in shares.items()
    )


def affordable(
    shares: Mapping[str, Share],
    allowances: Mapping[str, Allowance],
    writes: Mapping[str, WriteAllowance] | None = None,
) -> Allowance:
    """The user bytes and seconds a burst may take so that every device it goes to stays within
    its own allowance: the tightest of all. ``writes`` holds the drives' shares of endurance.

    ``why_none`` begins with the id of the device that is in the way the longest.
    """
    parts = [
        *(
            _of_budget(device_id, share, allowances[device_id])
            for device_id, share in shares.items()
        ),
        *(
            _of_endurance(device_id, share, writes[device_id])
            for device_id, share in shares.items()
            if writes is not None and device_id in writes and share.written
        ),
    ]
    blocked = [part for part in parts if part.why_none is not None]
    longest = max(blocked, key=_wait, default=None)
    return Allowance(
        bytes_left=min((part.bytes_left for part in parts), default=0),
        seconds_left=min((part.seconds_left for part in parts), default=0.0),
        why_none=longest.why_none if longest is not None else None,
        more_at_seconds=longest.more_at_seconds if longest is not None else None,
    )


def _of_budget(device_id: str, share: Share, own: Allowance) -> Allowance:
    why = f"{device_id}: {own.why_none}" if own.why_none is not None else None
    return replace(own, bytes_left=_user_bytes(own.bytes_left, share.moved), why_none=why)


def _of_endurance(device_id: str, share: Share, own: WriteAllowance) -> Allowance:
    why = f"{device_id}: {own.why_none}" if own.why_none is not None else None
    left = _user_bytes(own.bytes_left, share.written)
    return Allowance(bytes_left=left, seconds_left=inf, why_none=why)


def _user_bytes(left: int, share: float) -> int:
    """The most user bytes whose charge, rounded up, is within ``left``."""
    user = int(left / share)
    return user if ceil(user * share) <= left else user - 1


def _wait(part: Allowance) -> float:
    return part.more_at_seconds if part.more_at_seconds is not None else inf
