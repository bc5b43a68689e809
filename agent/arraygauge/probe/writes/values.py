"""What is asked of a write probe, and what came of it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from arraygauge.inventory.values import DeviceNumber, Mount
from arraygauge.probe.values import Skipped
from arraygauge.probe.writes.cliff import Cliff
from arraygauge.theory.values import Direction, Workload
from arraygauge.units import MIB
from arraygauge.values import frozen

ALIGNMENT_BYTES = 4096
"""Transfers are multiples of it, so that they suit drives of either logical block size."""


class WriteOutcome(StrEnum):
    """Why a write probe ended. Only the first two carry a rate that may be judged."""

    COMPLETED = "completed"
    BUDGET_SPENT = "budget spent"
    GAVE_WAY = "gave way"
    INTERRUPTED = "interrupted"
    REFUSED = "refused"
    NO_ROOM = "no room"
    READ_ONLY = "read-only"
    VANISHED = "vanished"
    WRITE_ERROR = "write error"
    TIMED_OUT = "timed out"
    ABANDONED = "abandoned"
    CRASHED = "crashed"


@frozen
class HostedFilesystem:
    """A mounted filesystem that lies on one device alone.

    ``device`` and ``number`` are of the device it is mounted from: the array itself, a
    partition of it or a mapped device over it. ``unfit`` says why no own file may be there.
    """

    mount: Mount
    device: str
    number: DeviceNumber
    unfit: str | None


@frozen
class WriteRequest:
    """One burst of sequential writes to an own file on the device.

    The file is made first where it is not there, of ``file_bytes`` in whole MiB, in the first
    of ``directories`` that lies on one of ``filesystems``. Then ``burst_bytes`` are written
    over it, from its beginning again and again, for ``longest_seconds`` at most, and flushed.
    ``max_bytes`` bounds all that is written, making the file included. The file is removed
    in the end unless ``keep_file``.
    """

    device: str
    directories: tuple[Path, ...]
    filesystems: tuple[HostedFilesystem, ...]
    file_bytes: int
    burst_bytes: int
    max_bytes: int
    longest_seconds: float
    keep_file: bool = True
    transfer_bytes: int = MIB
    queue_depth: int = 8
    grace_seconds: float = 8.0
    """Beyond making and writing, how long the child may live before it counts as hung."""

    @property
    def workload(self) -> Workload:
        return Workload(
            direction=Direction.WRITE,
            transfer_bytes=self.transfer_bytes,
            queue_depth=self.queue_depth,
        )

    @property
    def whole_file_bytes(self) -> int:
        """In whole MiB, as the file is made."""
        return -(-self.file_bytes // MIB) * MIB


@frozen
class WriteMeasurement:
    """What one write probe gave.

    ``bytes_per_second`` is the rate while all transfers were in flight, first to last;
    ``flushed_bytes_per_second`` counts from the first write to the end of the flush, so
    what stayed in a drive's own memory until then is paid for. With a ``cliff`` the first
    is between that one's two rates and describes neither. All are None when too little was
    written to say. ``bytes_written`` includes ``filled_bytes``, written to make the file.
    ``notes`` say in words what on the way may differ from plain writing in place.
    """

    device: str
    outcome: WriteOutcome
    detail: str | None
    workload: Workload
    started_at_seconds: float
    seconds: float
    bytes_written: int
    filled_bytes: int
    bytes_per_second: float | None = None
    flushed_bytes_per_second: float | None = None
    cliff: Cliff | None = None
    path: str | None = None
    filesystem: str | None = None
    file_kept: bool | None = None
    """None where it is not known: the child did not live to tell."""
    notes: tuple[str, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether the rates may be judged."""
        return self.bytes_per_second is not None and self.outcome in (
            WriteOutcome.COMPLETED,
            WriteOutcome.BUDGET_SPENT,
        )


WriteAttempt = WriteMeasurement | Skipped
