"""Which array or drive a directory lies on, by the table of mounts. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PurePath

from arraygauge.inventory.stack import beneath
from arraygauge.inventory.values import BlockDevice, DeviceKind, Host, Mount
from arraygauge.probe.filesystems import why_unfit_to_write
from arraygauge.values import frozen


@frozen
class Place:
    """A directory for an own file. ``device`` is what its filesystem is mounted from, ``target``
    the array or drive below that alone; None where there is no such one, and ``why_none`` says
    why."""

    directory: Path
    device: str | None
    target: str | None
    why_none: str | None = None


def place_of(host: Host, mounts: Sequence[Mount], directory: Path) -> Place:
    """Where the directory, which need not be there yet, would lie by its path alone: following
    links could wait for a filesystem that hangs. The child that writes asks the kernel, and
    refuses one that links lead elsewhere."""
    mount = mount_of(mounts, directory)
    device = _mounted_from(host, mount) if mount is not None else None
    target = _bottom(host, device) if device is not None else None
    why = None
    if mount is None:
        why = f"{directory} is on no mount"
    elif device is None:
        unfit = why_unfit_to_write(mount)
        why = f"{directory}: {unfit or f'{mount.filesystem} shows no block device below it'}"
    elif target is None:
        why = f"{directory}: {device.name} is made of several devices, so it would tell of none"
    return Place(
        directory=directory,
        device=device.name if device is not None else None,
        target=target.name if target is not None else None,
        why_none=why,
    )


def _mounted_from(host: Host, mount: Mount) -> BlockDevice | None:
    number, point = mount.device_number, mount.mount_point
    return next(
        (
            device
            for device in host.devices
            for each in device.mounts
            if (each.device_number, each.mount_point) == (number, point)
        ),
        None,
    )


def mount_of(mounts: Sequence[Mount], path: PurePath) -> Mount | None:
    """The one with the longest mount point above the path; of several there, the last."""
    above = [mount for mount in mounts if path.is_relative_to(mount.mount_point)]
    longest = max((len(mount.mount_point) for mount in above), default=0)
    return next((each for each in reversed(above) if len(each.mount_point) == longest), None)


def _bottom(host: Host, device: BlockDevice) -> BlockDevice | None:
    """The array or the drive that it lies on alone."""
    bottom = beneath(host, device.name)
    whole = bottom is not None and (bottom.kind is DeviceKind.ARRAY or not bottom.below)
    return bottom if whole else None
