"""An inventory's array as the model's geometry: its shape and health as it stands."""

from __future__ import annotations

from arraygauge.inventory.values import Array, BlockDevice, Host, Level, MemberState
from arraygauge.theory.geometry import Geometry, is_sound


def geometry_of(host: Host, array: Array) -> Geometry | None:
    """The array's shape and health as it stands; None where what the kernel shows of it is
    not a shape md can run, so that nothing may be concluded."""
    if _states_unknown(array) and array.degraded != 0:
        return None
    slots = array.raid_disks or 0
    holders = [array.member_in_slot(slot) for slot in range(slots)]
    devices = [host.device(member.name) if member else None for member in holders]
    chunk = array.chunk_bytes or 1
    sizes = tuple((member.size_bytes or 0) // chunk * chunk if member else 0 for member in holders)
    geometry = Geometry(
        level=array.level,
        slots=slots,
        chunk_bytes=array.chunk_bytes,
        layout=array.layout,
        missing=frozenset(missing_slots(array)),
        seeks=_seeks(host, [device for device in devices if device is not None]),
        member_bytes=sizes if len(set(sizes)) > 1 and all(sizes) else (),
        write_mostly=frozenset(
            slot
            for slot, member in enumerate(holders)
            if member is not None and MemberState.WRITE_MOSTLY in member.states
        ),
    )
    return geometry if is_sound(geometry) else None


def _states_unknown(array: Array) -> bool:
    """Whether some member's state could not be read, so that nothing follows from it."""
    return any(member.state_text is None for member in array.members)


def missing_slots(array: Array) -> tuple[int, ...]:
    """Slots nothing serves. md keeps no in_sync word for raid0 and linear beyond assembly,
    and never tells that a member of theirs has gone, so there presence alone decides."""
    if _states_unknown(array):
        return ()  # only asked when the kernel counts nobody as missing
    if array.level in (Level.RAID0, Level.LINEAR):
        held = {member.slot for member in array.members if member.present}
        return tuple(slot for slot in range(array.raid_disks or 0) if slot not in held)
    return array.missing_slots


def _seeks(host: Host, devices: list[BlockDevice]) -> bool | None:
    """True or False when every member's own word agrees; None when mixed or unknown."""
    words = {rotational_of(host, device) for device in devices}
    return words.pop() if len(words) == 1 else None


def rotational_of(host: Host, device: BlockDevice) -> bool | None:
    """A partition's word is its disk's."""
    disk = host.device(device.disk) if device.disk else None
    return (disk or device).rotational
