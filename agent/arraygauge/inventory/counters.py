"""What the kernel has counted of each block device's I/O, and reading it again and again fast.

Kernel documents: Documentation/block/stat.rst (the columns of /sys/class/block/X/stat),
Documentation/admin-guide/iostats.rst (what each counts, and that counters wrap). Sectors
are 512 bytes always, times are milliseconds.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from types import TracebackType
from typing import Self

from arraygauge.inventory.block_entry import BLOCK_CLASS
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.units import SECTOR_BYTES
from arraygauge.values import frozen

_WITHOUT_DISCARDS = 11
_WITHOUT_FLUSHES = 15
_COLUMNS = 17
_BEFORE_IN_FLIGHT = 8
_NUMBERS = re.compile(r"[0-9]{1,20}(?:[ ]+[0-9]{1,20})*")
_LONGEST_BYTES = 1024
"""17 numbers of at most 20 digits each, with room for columns a later kernel may add."""

_WRAP_SECONDS = 2**32 / 1000
"""The kernel prints times as 32-bit milliseconds, whatever the machine's word length."""


@frozen
class IoCounters:
    """One device's counters: totals since it appeared, but for ``in_flight``.

    Times are sums over requests, so ``read_seconds`` may pass the clock's; only
    ``busy_seconds`` is the time during which any request was in flight.
    ``weighted_seconds`` is requests in flight summed over time. All seconds wrap to 0
    after some 49.7 days of sum. Discards are None before kernel 4.18, flushes before 5.5.
    """

    reads: int
    read_bytes: int
    read_seconds: float
    writes: int
    written_bytes: int
    write_seconds: float
    in_flight: int
    """Requests the device holds at this moment."""
    busy_seconds: float
    weighted_seconds: float
    discards: int | None
    discarded_bytes: int | None
    discard_seconds: float | None
    flushes: int | None
    flush_seconds: float | None

    def since(self, earlier: IoCounters) -> IoCounters:
        """What was counted after ``earlier``, of the same device; ``in_flight`` is this one's.

        Right over one wrap of a time. Counts are 64 bits wide and do not wrap in practice.
        """
        return IoCounters(
            reads=self.reads - earlier.reads,
            read_bytes=self.read_bytes - earlier.read_bytes,
            read_seconds=_elapsed(self.read_seconds, earlier.read_seconds),
            writes=self.writes - earlier.writes,
            written_bytes=self.written_bytes - earlier.written_bytes,
            write_seconds=_elapsed(self.write_seconds, earlier.write_seconds),
            in_flight=self.in_flight,
            busy_seconds=_elapsed(self.busy_seconds, earlier.busy_seconds),
            weighted_seconds=_elapsed(self.weighted_seconds, earlier.weighted_seconds),
            discards=_more(self.discards, earlier.discards),
            discarded_bytes=_more(self.discarded_bytes, earlier.discarded_bytes),
            discard_seconds=_elapsed_if_told(self.discard_seconds, earlier.discard_seconds),
            flushes=_more(self.flushes, earlier.flushes),
            flush_seconds=_elapsed_if_told(self.flush_seconds, earlier.flush_seconds),
        )


def _elapsed(later: float, earlier: float) -> float:
    return later - earlier if later >= earlier else later - earlier + _WRAP_SECONDS


def _elapsed_if_told(later: float | None, earlier: float | None) -> float | None:
    return None if later is None or earlier is None else _elapsed(later, earlier)


def _more(later: int | None, earlier: int | None) -> int | None:
    return None if later is None or earlier is None else later - earlier


def parse_stat(text: str) -> IoCounters:
    """The counters of one ``stat`` line of 11, 15, 17 or more columns.

    Raises ValueError for any other text.
    """
    stripped = text.strip()
    if _NUMBERS.fullmatch(stripped) is None:
        raise ValueError(f"not a line of counters: {text[:60]!r}")
    columns = [int(number) for number in stripped.split()]
    count = len(columns)
    if count not in (_WITHOUT_DISCARDS, _WITHOUT_FLUSHES) and count < _COLUMNS:
        raise ValueError(f"a line of {count} counters, where the kernel has 11, 15 or 17")
    has_discards, has_flushes = count >= _WITHOUT_FLUSHES, count >= _COLUMNS
    return IoCounters(
        reads=columns[0],
        read_bytes=columns[2] * SECTOR_BYTES,
        read_seconds=columns[3] / 1000,
        writes=columns[4],
        written_bytes=columns[6] * SECTOR_BYTES,
        write_seconds=columns[7] / 1000,
        in_flight=columns[_BEFORE_IN_FLIGHT],
        busy_seconds=columns[9] / 1000,
        weighted_seconds=columns[10] / 1000,
        discards=columns[11] if has_discards else None,
        discarded_bytes=columns[13] * SECTOR_BYTES if has_discards else None,
        discard_seconds=columns[14] / 1000 if has_discards else None,
        flushes=columns[15] if has_flushes else None,
        flush_seconds=columns[16] / 1000 if has_flushes else None,
    )


class CounterReader:
    """Reads the counters of the same devices many times a second.

    The files stay open from the start, so a device that goes away stays gone here even if
    another disk is given its name; make a new reader to see that one.
    """

    def __init__(self, names: Iterable[str], tree: Tree | None = None) -> None:
        """Opens the counters of the devices by kernel name, such as ``sda`` or ``md0``."""
        reader = Reader(tree or Tree())
        self._descriptors = {
            name: reader.descriptor(f"{BLOCK_CLASS}/{name}/stat") for name in dict.fromkeys(names)
        }
        self._held: dict[int, tuple[bytes, IoCounters]] = {}
        """What each file held when it was last read: most drives rest most of the time."""

    def read(self) -> dict[str, IoCounters | None]:
        """Every device's counters now; None for one that is gone, or tells none.

        Asks the kernel's memory only, never the devices, so it does not wait for them.
        """
        return {name: self._read(descriptor) for name, descriptor in self._descriptors.items()}

    def _read(self, descriptor: int | None) -> IoCounters | None:
        if descriptor is None:
            return None
        try:
            # From the start each time: sysfs then asks the device anew.
            content = os.pread(descriptor, _LONGEST_BYTES, 0)
            held = self._held.get(descriptor)
            if held is None or held[0] != content:
                held = self._held[descriptor] = content, parse_stat(content.decode("ascii"))
        except (OSError, ValueError):
            return None
        return held[1]

    def in_flight(self, names: Iterable[str]) -> int:
        """Requests that these devices hold together now; none for one that is gone."""
        return sum(_in_flight(self._descriptors.get(name)) for name in names)

    def close(self) -> None:
        """Closes the files; every device reads as None from then on."""
        for name, descriptor in self._descriptors.items():
            self._descriptors[name] = None
            if descriptor is not None:
                os.close(descriptor)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()


def _in_flight(descriptor: int | None) -> int:
    if descriptor is None:
        return 0
    try:
        return int(
            os.pread(descriptor, _LONGEST_BYTES, 0).split(None, _BEFORE_IN_FLIGHT + 1)[
                _BEFORE_IN_FLIGHT
            ]
        )
    except (OSError, ValueError, IndexError):
        return 0
