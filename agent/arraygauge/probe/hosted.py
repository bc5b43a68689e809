"""Which filesystems lie on a device alone, and what lies between. Pure."""

from __future__ import annotations

from arraygauge.inventory.values import BlockDevice, DeviceKind, DeviceNumber, Host
from arraygauge.probe.filesystems import why_unfit, why_unfit_to_write
from arraygauge.probe.writes.values import HostedFilesystem

_CIPHER = "encrypted between filesystem and device ({}), so the cipher would be measured as well"
_DEDUPLICATING = "deduplicated and compressed between filesystem and device ({})"


def hosted_filesystems(
    host: Host, device: BlockDevice, *, to_write: bool
) -> tuple[HostedFilesystem, ...]:
    """Filesystems whose every block lies on this device: on itself, its partitions, or mapped
    devices over it alone (a linear volume, a cipher). Never through an array over it: a file
    there is that array's, which has guards of its own."""
    return tuple(_hosted(host, device, None, to_write))


def _hosted(
    host: Host, device: BlockDevice, between: str | None, to_write: bool
) -> list[HostedFilesystem]:
    between = between or (_layer(device) if to_write else None)
    found = [
        HostedFilesystem(
            mount=mount,
            device=device.name,
            number=device.number,
            unfit=between
            or (
                why_unfit_to_write(mount)
                if to_write
                else why_unfit(mount.filesystem, mount.read_only)
            ),
        )
        for mount in device.mounts
    ]
    for name in device.above:
        upper = host.device(name)
        if upper is not None and upper.kind is not DeviceKind.ARRAY and len(upper.below) <= 1:
            found += _hosted(host, upper, between, to_write)
    return found


def _layer(device: BlockDevice) -> str | None:
    """What a mapped device does to data, by the prefix its maker gives the uuid (dm/uuid in
    sysfs; the prefixes are common practice of the tools that make them, from memory)."""
    uuid = device.mapped_uuid or ""
    name = device.mapped_name or device.name
    if uuid.startswith("CRYPT-"):
        return f"it is {_CIPHER.format(name)}"
    if uuid.startswith("VDO-") or uuid.endswith("-vpool"):
        return f"it is {_DEDUPLICATING.format(name)}"
    return None


def fit_numbers(filesystems: tuple[HostedFilesystem, ...]) -> list[DeviceNumber]:
    """What stat(2) shows for files there, or the device itself where that is an own invention
    of the filesystem's (btrfs)."""
    fit = [each for each in filesystems if each.unfit is None]
    numbers = [number for each in fit for number in (each.mount.device_number, each.number)]
    return list(dict.fromkeys(numbers))


def filesystem_at(
    filesystems: tuple[HostedFilesystem, ...], number: DeviceNumber | None
) -> HostedFilesystem | None:
    """The one with that number; a fit one where it is mounted several times."""
    there = [each for each in filesystems if number in (each.mount.device_number, each.number)]
    return min(there, key=lambda each: each.unfit is not None, default=None)
