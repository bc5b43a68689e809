"""Which drives a person named, and what of the machine's state forbids erasing them. Pure.

What the kernel shows is the first guard only: an exclusive open, the look for signatures and
the look for anything stored come after it (``clearance``), and md's own claim last.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from arraygauge.errors import OperatorError, UnknownDeviceError
from arraygauge.inventory.openers import Opener
from arraygauge.inventory.values import BlockDevice, DeviceKind, Host
from arraygauge.units import MIB
from arraygauge.values import frozen

LEAST_BYTES = 16 * MIB
SYSTEM_PLACES = ("/", "/boot", "/boot/efi", "/efi", "/etc", "/home", "/usr", "/var")


@frozen
class Surroundings:
    """What holds drives besides what the inventory shows: paths the kernel swaps to, already
    led to their devices' names, and processes that have a device open."""

    swaps: tuple[str, ...]
    openers: tuple[Opener, ...]


class RefusedError(OperatorError):
    """A drive may not be erased. Nothing was written."""


def named_drives(host: Host, names: Sequence[str]) -> tuple[BlockDevice, ...]:
    """The drives of these stable ids, in that order.

    Raises UnknownDeviceError for an id this machine does not have, RefusedError for a name
    that can lead to another drive after the next boot, and for one that is given twice.
    """
    if not names:
        raise RefusedError(
            "no drive was named: a trial erases drives, so each is named by its stable id",
            f"name blank spare drives; this machine has\n{_known(host)}",
        )
    found = tuple(_named(host, name) for name in names)
    for device in found:
        if [each.stable_id for each in host.devices].count(device.stable_id) > 1:
            raise RefusedError(
                f"{device.stable_id}: several devices of this machine have this id",
                "use a drive that is seen only once, or unplug the other path to it",
            )
        if found.count(device) > 1:
            raise RefusedError(f"{device.stable_id} is named twice", "name each drive once")
    return found


def _named(host: Host, name: str) -> BlockDevice:
    for device in host.devices:
        if device.stable_id == name:
            return device
    for device in host.devices:
        if name in (device.name, device.node, device.serial):
            raise RefusedError(
                f"{name}: names like this one can mean another drive after the next boot",
                f"if this is the drive to erase, name it by its stable id: {device.stable_id}",
            )
    raise UnknownDeviceError(
        f"{name}: no device of this machine has this stable id",
        f"this machine has\n{_known(host)}",
    )


def _known(host: Host) -> str:
    drives = [each for each in host.devices if each.kind is DeviceKind.DRIVE and each.size_bytes]
    lines = (f"    {each.stable_id}  ({each.name}, serial {each.serial})" for each in drives)
    return "\n".join(lines) or "    no drive"


def forbidden(host: Host, device: BlockDevice, around: Surroundings) -> tuple[str, ...]:
    """Every reason why this drive is left alone, whatever a person confirms; none if it is
    free as far as the kernel shows."""
    return tuple(dict.fromkeys(_reasons(host, device, around)))


def _reasons(host: Host, device: BlockDevice, around: Surroundings) -> Iterator[str]:
    yield from _what_it_is(device)
    upward = _above(host, device)
    for each in (device, *upward):
        for mount in each.mounts:
            system = mount.mount_point in SYSTEM_PLACES
            where = f"{mount.mount_point} is mounted from {each.name}"
            yield f"the running system is on it: {where}" if system else where
        if each.name in around.swaps:
            yield f"the kernel swaps to {each.name}"
    for each in upward:
        partition = each.kind is DeviceKind.PARTITION
        yield f"it has a partition, {each.name}" if partition else f"{each.name} is built on it"
    for array in host.arrays:
        if device.name in {member.name for member in array.members}:
            yield f"it is a member of the array {array.name}"
    for opener in around.openers:
        if opener.number == device.number:
            yield f"process {opener.process_id} ({opener.command}) has it open"


def _what_it_is(device: BlockDevice) -> Iterator[str]:
    if device.kind is not DeviceKind.DRIVE or device.disk is not None or device.below:
        yield f"it is no whole drive but a {device.kind}"
    if device.read_only:
        yield "the kernel has it read-only"
    if (device.size_bytes or 0) < LEAST_BYTES:
        yield f"it holds less than {LEAST_BYTES // MIB} MiB"
    if device.asleep:
        yield "it sleeps"


def _above(host: Host, device: BlockDevice) -> tuple[BlockDevice, ...]:
    """All that is made of it, at any height, each once."""
    found: dict[str, BlockDevice] = {}
    waiting = list(device.above)
    while waiting:
        name = waiting.pop()
        each = host.device(name)
        if each is not None and name not in found:
            found[name] = each
            waiting += each.above
    return tuple(found.values())


def refuse(device: BlockDevice, reasons: Sequence[str]) -> None:
    """Raises RefusedError where there is a reason."""
    if reasons:
        raise RefusedError(
            f"{device.stable_id} ({device.name}) is not erased: {'; '.join(reasons)}",
            "use another drive, or free this one of what is on it by what put it there",
        )
