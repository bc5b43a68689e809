"""What is done to a machine's drives from outside, through QEMU's monitor."""

from __future__ import annotations

from dataclasses import dataclass

from lab.host import LabError
from lab.machine import Drive, Machine, Uplink
from lab.qemu import device
from lab.qmp import Monitor
from lab.stores import STANDSTILL, limit_node, limits, top_node

UNPLUG_SECONDS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveCounters:
    """What the guest has had from a drive since it was plugged in, counted by QEMU.

    Requests are counted when they are answered.
    """

    reads: int
    read_bytes: int
    writes: int
    written_bytes: int
    flushes: int
    discards: int


class Hypervisor:
    """The drives of one running machine, seen from the host."""

    def __init__(self, machine: Machine, monitor: Monitor) -> None:
        self._machine = machine
        self._monitor = monitor

    def limit(self, part: Drive | Uplink, bytes_per_second: int) -> None:
        """Sets a rate. It begins with 0.1 s worth of bytes that pass at once."""
        self._set_limits(part, limits(bytes_per_second))

    def hold(self, drive: Drive) -> None:
        """Answers no request any more.

        One byte a second for both directions together. A first request would still pass, so
        QEMU itself makes one.
        """
        self._set_limits(drive, STANDSTILL)
        line = f'qemu-io {drive.name}-limit "aio_read -q 0 1M"'
        self._monitor.execute("human-monitor-command", **{"command-line": line})

    def let_go(self, drive: Drive) -> None:
        """Answers at once what was held; then the usual rate holds."""
        self.limit(drive, drive.bytes_per_second)
        # Only draining the node lets go of requests that wait by the old limit.
        self._monitor.execute("blockdev-reopen", options=[limit_node(drive)])

    def eject(self, drive: Drive) -> None:
        """Takes a PCIe drive out of its slot; returns when the guest has let go of it."""
        self._monitor.execute("device_del", id=drive.name)
        self._monitor.wait_for_event(
            "DEVICE_DELETED", device=drive.name, timeout_seconds=UNPLUG_SECONDS
        )

    def insert(self, drive: Drive) -> None:
        """Puts an ejected drive into its slot again, with all that was written to it."""
        self._monitor.execute("device_add", **device(self._machine, drive))

    def counters(self, drive: Drive) -> DriveCounters:
        """What was asked of a drive so far; LabError for one that is not plugged in."""
        for entry in self._monitor.execute("query-blockstats"):
            if entry.get("node-name") == top_node(drive) and "qdev" in entry:
                stats = entry["stats"]
                return DriveCounters(
                    reads=stats["rd_operations"],
                    read_bytes=stats["rd_bytes"],
                    writes=stats["wr_operations"],
                    written_bytes=stats["wr_bytes"],
                    flushes=stats["flush_operations"],
                    discards=stats["unmap_operations"],
                )
        raise LabError(f"QEMU has no plugged drive '{drive.name}'")

    def _set_limits(self, part: Drive | Uplink, values: dict[str, int]) -> None:
        path = f"/objects/{part.name}"
        self._monitor.execute("qom-set", path=path, property="limits", value=values)
