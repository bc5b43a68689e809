"""Measuring a device that may not be opened raw: through an own file on a filesystem on it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from arraygauge.inventory.values import BlockDevice, DeviceKind, DeviceNumber, Host, Mount
from arraygauge.probe.own_file import Refusal, prepare_own_file
from arraygauge.probe.plan import BurstLimits, request_for
from arraygauge.probe.runner import Prober
from arraygauge.probe.values import Attempt, Measurement, Route, Skipped, SkipReason
from arraygauge.theory import SEQUENTIAL_READ


@dataclass(frozen=True, slots=True, kw_only=True)
class FilePlaces:
    """Directories the agent may put its own file in, in order of preference."""

    directories: tuple[Path, ...]
    size_bytes: int
    limits: BurstLimits


def probe_through_file(
    prober: Prober,
    host: Host,
    device: BlockDevice,
    refused: Measurement,
    places: FilePlaces,
) -> Attempt:
    """Read an own file of random data; the raw refusal stands where there is no place for one."""
    mounts = mounts_on(host, device)
    directory = next((path for path in places.directories if _lies_on(path, mounts)), None)
    if directory is None:
        return Skipped(
            device=device.name,
            reason=SkipReason.NO_OWN_FILE,
            detail=(
                f"{refused.detail}; and no own file can stand in for it: name a directory on "
                "one of its filesystems in the configuration's probe.own_file_directories"
            ),
        )
    mount = mounts[_device_number(directory)]
    own_file = prepare_own_file(
        directory, places.size_bytes, mount.filesystem, mount.read_only, prober.stop
    )
    if isinstance(own_file, Refusal):
        return Skipped(
            device=device.name,
            reason=SkipReason.NO_OWN_FILE,
            detail=f"{refused.detail}; and no own file can stand in for it: {own_file.detail}",
        )
    request = request_for(
        device=device.name,
        route=Route.FILE,
        path=str(own_file.path),
        number=None,
        size_bytes=own_file.size_bytes,
        workload=SEQUENTIAL_READ,
        limits=places.limits,
    )
    return request if isinstance(request, Skipped) else prober.run(request)


def mounts_on(host: Host, device: BlockDevice) -> dict[DeviceNumber, Mount]:
    """Filesystems whose every block lies on this device: on itself, its partitions, or
    a mapped device over it alone, by the number stat(2) shows for their files. Never through
    an array: reading a file there is reading through md, which has guards of its own."""
    found = {mount.device_number: mount for mount in device.mounts}
    for name in device.above:
        upper = host.device(name)
        if upper is None or upper.kind is DeviceKind.ARRAY:
            continue
        if len(upper.below) <= 1:
            found |= mounts_on(host, upper)
    return found


def _lies_on(directory: Path, mounts: dict[DeviceNumber, Mount]) -> bool:
    try:
        return _device_number(directory) in mounts
    except OSError:
        return False  # not even its parents may be looked at


def _device_number(directory: Path) -> DeviceNumber:
    """Of the nearest existing parent: the state directory may not have been made yet."""
    existing = next(path for path in (directory, *directory.parents) if path.exists())
    device = existing.stat().st_dev
    return os.major(device), os.minor(device)
