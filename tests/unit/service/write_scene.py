"""An invented mirror with a filesystem, a clock a test moves, and writes as they may end."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from arraygauge.history import History, Ledger
from arraygauge.history.moment import Moment
from arraygauge.inventory.values import DeviceKind, Host, Level, Mount
from arraygauge.probe.budget import BudgetLimits
from arraygauge.probe.writes.values import WriteMeasurement, WriteOutcome, WriteRequest
from arraygauge.service.purse import Purse
from invented import array, host, member

MIB, GB, HOUR = 1 << 20, 10**9, 3600.0
MOUNT = Mount(
    device_number=(9, 0),
    mount_point="/films",
    root="/",
    filesystem="ext4",
    source="/dev/md0",
    options=("rw",),
)
NETWORK = replace(
    MOUNT, mount_point="/share", filesystem="nfs4", device_number=(0, 40), source="far:/films"
)


def machine() -> Host:
    """A mirror of two drives of 100 GiB with one filesystem on it."""
    made = host([array(Level.RAID1, [member("sda", 0), member("sdb", 1)])])
    devices = tuple(
        replace(each, mounts=(MOUNT,), number=(9, 0)) if each.kind is DeviceKind.ARRAY else each
        for each in made.devices
    )
    return replace(made, devices=devices)


class Clock:
    """A moment that a test moves."""

    def __init__(self) -> None:
        self.seconds = 1_000_000_000.0

    def __call__(self) -> Moment:
        return Moment(wall_seconds=self.seconds, uptime_seconds=self.seconds, boot_id="one")


@contextmanager
def purse_over(history: History, clock: Clock) -> Iterator[Purse]:
    with history:
        yield Purse(Ledger(history, clock), BudgetLimits(), history, clock)


def request(**changes: Any) -> WriteRequest:
    plain: dict[str, Any] = {
        "device": "md0",
        "directories": (Path("/films"),),
        "filesystems": (),
        "file_bytes": 256 * MIB,
        "burst_bytes": 256 * MIB,
        "max_bytes": 512 * MIB,
        "longest_seconds": 5.0,
    }
    return WriteRequest(**(plain | changes))


def wrote(asked: WriteRequest, **changes: Any) -> WriteMeasurement:
    plain: dict[str, Any] = {
        "device": asked.device,
        "outcome": WriteOutcome.COMPLETED,
        "detail": None,
        "workload": asked.workload,
        "started_at_seconds": 1_000_000_000.0,
        "seconds": 2.0,
        "bytes_written": 300 * MIB,
        "filled_bytes": 44 * MIB,
        "bytes_per_second": 1e8,
    }
    return WriteMeasurement(**(plain | changes))
