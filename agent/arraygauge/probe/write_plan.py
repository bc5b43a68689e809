"""How an array is to be written to, or why it is left alone. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from arraygauge.inventory.values import Array, Host
from arraygauge.probe.guards import why_not_through_md
from arraygauge.probe.hosted import hosted_filesystems
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.write_values import WriteRequest
from arraygauge.theory import SEQUENTIAL_WRITE
from arraygauge.units import MIB


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteLimits:
    """How much one array may be asked to write in one probe, and where.

    ``burst_bytes`` are written over the file, which is made of ``file_bytes`` first;
    ``max_bytes`` bounds both together (what the budget has left).
    """

    directories: tuple[Path, ...]
    max_bytes: int
    file_bytes: int = 256 * MIB
    burst_bytes: int = 256 * MIB
    longest_seconds: float = 5.0
    transfer_bytes: int = MIB
    queue_depth: int = SEQUENTIAL_WRITE.queue_depth
    keep_file: bool = True
    while_syncing: bool = False


def plan_write(host: Host, array: Array, limits: WriteLimits) -> WriteRequest | Skipped:
    """A write to an own file on the array, which is guarded as it is for reads through md."""
    device = host.device(array.name)
    refusal = why_not_through_md(host, array, while_syncing=limits.while_syncing)
    if refusal is not None or device is None:
        reason, detail = refusal or (SkipReason.NOT_RUNNING, f"{array.name} has no block device")
        return Skipped(device=array.name, reason=reason, detail=detail)
    filesystems = hosted_filesystems(host, device, to_write=True)
    why = _why_nowhere(limits, [each.unfit for each in filesystems])
    if why is not None:
        detail = f"{array.name}: {why}"
        return Skipped(device=array.name, reason=SkipReason.NO_OWN_FILE, detail=detail)
    return WriteRequest(
        device=array.name,
        directories=limits.directories,
        filesystems=filesystems,
        file_bytes=limits.file_bytes,
        burst_bytes=limits.burst_bytes,
        max_bytes=limits.max_bytes,
        longest_seconds=limits.longest_seconds,
        keep_file=limits.keep_file,
        transfer_bytes=limits.transfer_bytes,
        queue_depth=limits.queue_depth,
    )


def _why_nowhere(limits: WriteLimits, unfit: list[str | None]) -> str | None:
    if not limits.directories:
        return "name a directory on it in the configuration's write_probe.directories"
    if not unfit:
        return "no filesystem that lies on it alone is mounted, so there is no place for a file"
    if None in unfit:
        return None
    return "; ".join(dict.fromkeys(reason for reason in unfit if reason is not None))
