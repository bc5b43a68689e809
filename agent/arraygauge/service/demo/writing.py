"""What writing to an own file on the invented projects array gives: its drives have a fast cache,
which is the smaller the fuller they are."""

from __future__ import annotations

from random import Random

from arraygauge.inventory.values import Host
from arraygauge.probe.writes.cliff import Slice, find_cliff
from arraygauge.probe.writes.values import WriteMeasurement, WriteOutcome
from arraygauge.theory import SEQUENTIAL_WRITE
from arraygauge.units import MIB
from arraygauge.values import frozen

WRITTEN_ARRAY = "md2"
EVERY_DAYS = 7.0
BURST_BYTES = 256 * MIB
_SLICE_BYTES = 2 * MIB
_COPIES = 2
_DRIVES = 4
_CACHED_BYTES_PER_SECOND = 471e6
"""By each drive while its cache has room, and beyond it."""
_FOLDED_BYTES_PER_SECOND = 168e6
_CACHE_BYTES_EMPTIED = 170 * MIB
_CACHE_LOST_PER_DAY = 1.1 * MIB
_EMPTIED_EVERY_DAYS = 100.0
_FLUSH_SECONDS = 0.02
_STRAY = 0.03


@frozen
class WritePretence:
    """Writing without a device. The same ``seed`` gives the same figures on the same day."""

    seed: int

    def measure(self, host: Host, day: float) -> WriteMeasurement:
        """One burst over an own file."""
        chance = Random(f"{self.seed} writes {day:.6f}")  # noqa: S311
        slices = _slices(day, chance)
        seconds = sum(nanoseconds for _, nanoseconds in slices) / 1e9
        return WriteMeasurement(
            device=WRITTEN_ARRAY,
            outcome=WriteOutcome.COMPLETED,
            detail=None,
            workload=SEQUENTIAL_WRITE,
            started_at_seconds=host.taken_at_seconds,
            seconds=seconds + _FLUSH_SECONDS,
            bytes_written=BURST_BYTES,
            filled_bytes=0,
            bytes_per_second=BURST_BYTES / seconds,
            flushed_bytes_per_second=BURST_BYTES / (seconds + _FLUSH_SECONDS),
            cliff=find_cliff(slices),
            path="/invented/projects/.arraygauge",
            filesystem="ext4",
            file_kept=True,
        )


def cache_bytes(day: float) -> float:
    """Of each drive; projects fill it until they are moved to the archive."""
    return _CACHE_BYTES_EMPTIED - _CACHE_LOST_PER_DAY * (day % _EMPTIED_EVERY_DAYS)


def _slices(day: float, chance: Random) -> list[Slice]:
    """Each drive takes its share of both copies of every slice."""
    of_each = _COPIES / _DRIVES
    found = []
    for index in range(BURST_BYTES // _SLICE_BYTES):
        has_room = index * _SLICE_BYTES * of_each < cache_bytes(day)
        rate = _CACHED_BYTES_PER_SECOND if has_room else _FOLDED_BYTES_PER_SECOND
        seconds = _SLICE_BYTES * of_each / (rate * (1 + chance.gauss(0, _STRAY)))
        found.append((_SLICE_BYTES, round(seconds * 1e9)))
    return found
