"""What a device did between two readings of the kernel's counters, or why that cannot be told.

Kernel documents: Documentation/block/stat.rst, Documentation/admin-guide/iostats.rst. The
operational quantities are those of Jain, The Art of Computer Systems Performance Analysis,
1991, chapter 33: utilisation U = busy / T, service demand D = busy / completions, and Little's
law Q = X · R.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from arraygauge.inventory.counters import IoCounters
from arraygauge.values import frozen

LONGEST_LATENESS = 2.0
"""A reading this many times later than asked for: the machine slept or the clock jumped."""

_HALF_WRAP_SECONDS = 2**31 / 1000
"""Times are 32-bit milliseconds: an advance of over half of that may as well be a step back."""

_BUSY_SLACK_SECONDS = 0.05
"""The kernel counts busy time in ticks and adds it when a request starts or ends."""


class GapReason(StrEnum):
    """Why nothing is told of a stretch of time."""

    NOT_READ = "not read"
    COUNTERS_RESET = "counters reset"
    UNTOLD_WRAP = "a wrap that cannot be told from a step back"
    CLOCK = "the machine slept or the clock jumped"
    COUNTED_LATE = "time counted that passed earlier"
    OWN_PROBE = "the agent's own probe was at work"


@frozen
class Gap:
    """A stretch of which nothing is told: never a spike."""

    reason: GapReason


@frozen
class Interval:
    """One device's completed work in ``seconds`` of time.

    ``read_seconds`` and ``write_seconds`` are summed over requests, ``weighted_seconds`` is
    requests in flight summed over time.
    """

    seconds: float
    reads: int
    writes: int
    read_bytes: int
    written_bytes: int
    read_seconds: float
    write_seconds: float
    busy_seconds: float
    weighted_seconds: float
    discards: int
    in_flight: int

    @property
    def operations(self) -> int:
        """Reads and writes."""
        return self.reads + self.writes

    @property
    def moved_bytes(self) -> int:
        return self.read_bytes + self.written_bytes

    @property
    def bytes_per_second(self) -> float:
        return self.moved_bytes / self.seconds

    @property
    def operations_per_second(self) -> float:
        return self.operations / self.seconds

    @property
    def demand_seconds_per_byte(self) -> float | None:
        """Busy time for each byte moved: the service demand. None where none moved."""
        return self.busy_seconds / self.moved_bytes if self.moved_bytes else None

    @property
    def wait_seconds(self) -> float | None:
        """Mean time from issue to completion of a read or write. None without any."""
        spent = self.read_seconds + self.write_seconds
        return spent / self.operations if self.operations else None

    @property
    def mean_queue(self) -> float:
        """Requests in flight on average."""
        return self.weighted_seconds / self.seconds

    @property
    def utilisation(self) -> float:
        """Share of the time with anything in flight, 0 to 1. Of a device that serves many
        requests at once, 1 does not mean that it can do no more."""
        return min(1.0, self.busy_seconds / self.seconds)


def interval_between(
    earlier: IoCounters | None, later: IoCounters | None, seconds: float, wanted_seconds: float
) -> Interval | Gap:
    """The work between two readings of one device, ``seconds`` apart on a clock that does not
    step, where ``wanted_seconds`` were asked for."""
    if earlier is None or later is None:
        return Gap(reason=GapReason.NOT_READ)
    if not 0 < seconds <= LONGEST_LATENESS * wanted_seconds:
        return Gap(reason=GapReason.CLOCK)
    counted = later.since(earlier)
    reason = _fault(counted, seconds)
    return _interval(counted, seconds) if reason is None else Gap(reason=reason)


def joined(intervals: Iterable[Interval]) -> Interval:
    """Intervals that follow each other, as one. At least one must be given."""
    each = tuple(intervals)
    return Interval(
        seconds=sum(one.seconds for one in each),
        reads=sum(one.reads for one in each),
        writes=sum(one.writes for one in each),
        read_bytes=sum(one.read_bytes for one in each),
        written_bytes=sum(one.written_bytes for one in each),
        read_seconds=sum(one.read_seconds for one in each),
        write_seconds=sum(one.write_seconds for one in each),
        busy_seconds=sum(one.busy_seconds for one in each),
        weighted_seconds=sum(one.weighted_seconds for one in each),
        discards=sum(one.discards for one in each),
        in_flight=each[-1].in_flight,
    )


def _fault(counted: IoCounters, seconds: float) -> GapReason | None:
    """Why a difference of counters is not the work of the time between them."""
    counts = (counted.reads, counted.read_bytes, counted.writes, counted.written_bytes)
    others = (counted.discards or 0, counted.flushes or 0)
    if min(*counts, *others) < 0:
        return GapReason.COUNTERS_RESET
    times = (counted.read_seconds, counted.write_seconds, counted.weighted_seconds)
    if max(*times, counted.busy_seconds) > _HALF_WRAP_SECONDS:
        return GapReason.UNTOLD_WRAP
    if counted.busy_seconds > 1.05 * seconds + _BUSY_SLACK_SECONDS:
        return GapReason.COUNTED_LATE
    return None


def _interval(counted: IoCounters, seconds: float) -> Interval:
    return Interval(
        seconds=seconds,
        reads=counted.reads,
        writes=counted.writes,
        read_bytes=counted.read_bytes,
        written_bytes=counted.written_bytes,
        read_seconds=counted.read_seconds,
        write_seconds=counted.write_seconds,
        busy_seconds=counted.busy_seconds,
        weighted_seconds=counted.weighted_seconds,
        discards=counted.discards or 0,
        in_flight=counted.in_flight,
    )
