"""How an array or drive is to be written to, or why it is left alone. Pure."""

from __future__ import annotations

from pathlib import Path

from arraygauge.inventory.values import BlockDevice, Host
from arraygauge.probe.guards import Why, arrays_on, is_syncing, why_not_through_md
from arraygauge.probe.hosted import hosted_filesystems
from arraygauge.probe.plan import array_workload, device_workload
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.writes.values import WriteRequest
from arraygauge.units import MIB
from arraygauge.values import frozen


@frozen
class WriteLimits:
    """How much one array or drive may be asked to write in one probe, and where.

    ``burst_bytes`` are written over the file, which is made of ``file_bytes`` first;
    ``max_bytes`` bounds both together (what the budget has left).
    """

    directories: tuple[Path, ...]
    max_bytes: int
    file_bytes: int = 256 * MIB
    burst_bytes: int = 256 * MIB
    longest_seconds: float = 5.0
    transfer_bytes: int = MIB
    keep_file: bool = True
    while_syncing: bool = False


def plan_write(host: Host, device: BlockDevice, limits: WriteLimits) -> WriteRequest | Skipped:
    """A write to an own file on the array or drive; an array is guarded as for reads through md."""
    refusal = _why_not(host, device, while_syncing=limits.while_syncing)
    if refusal is not None:
        reason, detail = refusal
        return Skipped(device=device.name, reason=reason, detail=detail)
    filesystems = hosted_filesystems(host, device, to_write=True)
    why = _why_nowhere(limits, [each.unfit for each in filesystems])
    if why is not None:
        detail = f"{device.name}: {why}"
        return Skipped(device=device.name, reason=SkipReason.NO_OWN_FILE, detail=detail)
    return WriteRequest(
        device=device.name,
        directories=limits.directories,
        filesystems=filesystems,
        file_bytes=limits.file_bytes,
        burst_bytes=limits.burst_bytes,
        max_bytes=limits.max_bytes,
        longest_seconds=limits.longest_seconds,
        keep_file=limits.keep_file,
        transfer_bytes=limits.transfer_bytes,
        queue_depth=_depth(host, device),
    )


def _why_not(host: Host, device: BlockDevice, *, while_syncing: bool) -> Why | None:
    array = host.array(device.name)
    if array is not None:
        return why_not_through_md(host, array, while_syncing=while_syncing)
    busy = next((each for each in arrays_on(host, device) if is_syncing(each)), None)
    if busy is None or while_syncing:
        return None
    return SkipReason.SYNC_RUNNING, f"{busy.name} is busy with a {busy.sync_action}"


def _depth(host: Host, device: BlockDevice) -> int:
    """As deep as for reads, that every member of an array has something to do."""
    array = host.array(device.name)
    workload = array_workload(host, array) if array is not None else device_workload(device)
    return workload.queue_depth


def _why_nowhere(limits: WriteLimits, unfit: list[str | None]) -> str | None:
    if not limits.directories:
        return "name a directory on it in the configuration's write_probe.directories"
    if not unfit:
        return "no filesystem that lies on it alone is mounted, so there is no place for a file"
    if None in unfit:
        return None
    return "; ".join(dict.fromkeys(reason for reason in unfit if reason is not None))
