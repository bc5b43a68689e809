"""Measuring a device that may not be opened raw: through an own file on a filesystem on it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from arraygauge.inventory.values import BlockDevice, Host
from arraygauge.probe.hosted import hosted_filesystems
from arraygauge.probe.own_file import OwnFile, Refusal, prepare_own_file
from arraygauge.probe.plan import SamplingLimits, device_workload, plan_for
from arraygauge.probe.sampling import Sampler
from arraygauge.probe.values import Attempt, Measurement, Route, Skipped, SkipReason
from arraygauge.values import frozen

Made = OwnFile | Refusal
Pay = Callable[[int, Callable[[], Made]], Made]
"""Has the file made, which writes so many bytes at most, and counts what was written."""


@frozen
class FilePlaces:
    """Directories the agent may put its own file in, in order of preference."""

    directories: tuple[Path, ...]
    size_bytes: int
    limits: SamplingLimits


def probe_through_file(
    sampler: Sampler,
    host: Host,
    device: BlockDevice,
    refused: Measurement,
    places: FilePlaces,
    *,
    pay: Pay,
) -> Attempt:
    """Read an own file of random data; the raw refusal stands where there is no place for one."""
    filesystems = hosted_filesystems(host, device, to_write=False)
    own_file = pay(
        places.size_bytes,
        lambda: prepare_own_file(
            sampler.prober, device.name, places.directories, places.size_bytes, filesystems
        ),
    )
    if isinstance(own_file, Refusal):
        return Skipped(
            device=device.name,
            reason=SkipReason.NO_OWN_FILE,
            detail=f"{refused.detail}; and no own file can stand in for it: {own_file.detail}",
        )
    plan = plan_for(
        host,
        device,
        route=Route.FILE,
        path=str(own_file.path),
        size_bytes=own_file.size_bytes,
        workload=device_workload(device),
        watched=own_file.filesystem.device,
    )
    return plan if isinstance(plan, Skipped) else sampler.measure(plan, places.limits)
