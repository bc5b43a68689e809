"""What a pass measures."""

from __future__ import annotations

import os

from arraygauge.errors import UnknownDeviceError
from arraygauge.inventory.values import Array, BlockDevice, DeviceKind, Host, MemberState
from arraygauge.values import frozen


@frozen
class Targets:
    """What a pass measures: arrays with all their members, and devices by themselves."""

    arrays: tuple[Array, ...]
    devices: tuple[BlockDevice, ...]


def choose_targets(host: Host, names: tuple[str, ...]) -> Targets:
    """Everything that can be measured, or the named arrays (with members) and devices."""
    if not names:
        arrays = tuple(sorted(host.arrays, key=lambda array: array.name))
        return Targets(arrays=arrays, devices=_devices_of(host, arrays, _lone_drives(host, arrays)))
    arrays = tuple(array for name in names if (array := host.array(bare_name(name))) is not None)
    alone = tuple(
        _named_device(host, name) for name in names if host.array(bare_name(name)) is None
    )
    return Targets(arrays=arrays, devices=_devices_of(host, arrays, alone))


def bare_name(name: str) -> str:
    """The kernel's name of what a person names: itself, a device node, or a link to one."""
    path = os.path.realpath(name) if name.startswith("/") else name
    return path.removeprefix("/dev/").replace("/", "!")


def _named_device(host: Host, name: str) -> BlockDevice:
    device = host.device(bare_name(name))
    if device is None:
        known = ", ".join(
            [array.name for array in host.arrays]
            + [device.name for device in host.devices if device.kind is DeviceKind.DRIVE]
        )
        raise UnknownDeviceError(
            f"{name}: this machine has no such array or block device", f"it has {known or 'none'}"
        )
    return device


def _devices_of(
    host: Host, arrays: tuple[Array, ...], alone: tuple[BlockDevice, ...]
) -> tuple[BlockDevice, ...]:
    members = [
        device
        for array in arrays
        for member in array.members
        if member.present
        and MemberState.FAULTY not in member.states
        and (device := host.device(member.name)) is not None
    ]
    return tuple({device.name: device for device in (*members, *alone)}.values())


def _lone_drives(host: Host, arrays: tuple[Array, ...]) -> tuple[BlockDevice, ...]:
    """Drives that no array reads, whole or in part: those are measured as members."""
    members = {member.name for array in arrays for member in array.members}
    return tuple(
        device
        for device in host.devices
        if device.kind is DeviceKind.DRIVE
        and device.size_bytes
        and device.name not in members
        and members.isdisjoint(device.above)
    )
