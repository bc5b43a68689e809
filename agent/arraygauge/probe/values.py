"""What is asked of a probe, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from arraygauge.inventory.values import DeviceNumber
from arraygauge.theory.values import Workload


class Route(StrEnum):
    """How the device was reached."""

    RAW = "raw"
    FILE = "file"


class Outcome(StrEnum):
    """Why a probe ended. Only the first two carry a rate that may be judged."""

    COMPLETED = "completed"
    BUDGET_SPENT = "budget spent"
    INTERRUPTED = "interrupted"
    REFUSED = "refused"
    VANISHED = "vanished"
    READ_ERROR = "read error"
    TIMED_OUT = "timed out"
    ABANDONED = "abandoned"
    CRASHED = "crashed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """A contiguous range, in bytes from the start of the device or file."""

    start_bytes: int
    length_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeRequest:
    """One burst of reads on one device.

    The extents are read in turn, each for its share of ``seconds`` or until its
    end; in each the first ``warm_up_seconds`` are not counted. ``max_bytes`` bounds
    all that is read, warm-up included; ``deadline_seconds`` bounds the child's
    whole life. ``number`` is what fstat must show before a raw read.
    """

    device: str
    route: Route
    path: str
    number: DeviceNumber | None
    workload: Workload
    extents: tuple[Extent, ...]
    warm_up_seconds: float
    seconds: float
    max_bytes: int
    deadline_seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LatencyQuantiles:
    """Seconds from submission to completion of one transfer."""

    median: float
    p90: float
    p99: float
    maximum: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceRate:
    """The rate in one extent: where it lies, and what was counted there."""

    start_bytes: int
    bytes_read: int
    seconds: float

    @property
    def bytes_per_second(self) -> float:
        return self.bytes_read / self.seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """What one burst gave.

    ``bytes_per_second`` is the mean of the places' rates, each place counting alike,
    whether time or bytes ended it: so members and the array they make are averaged
    in one way. ``low`` and ``high`` bound the middle half of the short slices the
    burst is cut into: its spread, not a confidence interval. All three are None
    when too little was read to say. ``bytes_read`` includes the warm-up.
    """

    device: str
    route: Route
    path: str
    workload: Workload
    outcome: Outcome
    detail: str | None
    started_at_seconds: float
    seconds: float
    bytes_read: int
    zero_bytes: int
    bytes_per_second: float | None
    low_bytes_per_second: float | None
    high_bytes_per_second: float | None
    latency: LatencyQuantiles | None
    places: tuple[PlaceRate, ...]

    @property
    def usable(self) -> bool:
        """Whether the rate may be judged."""
        return self.bytes_per_second is not None and self.outcome in (
            Outcome.COMPLETED,
            Outcome.BUDGET_SPENT,
        )


class SkipReason(StrEnum):
    """Why a device was left alone."""

    NOT_RUNNING = "not running"
    SYNC_RUNNING = "sync running"
    NO_REDUNDANCY_LEFT = "no redundancy left"
    FAILFAST = "failfast member"
    MEMBER_GONE = "member gone"
    MEMBER_UNREADABLE = "member unreadable"
    NO_OWN_FILE = "no place for an own file"
    UNKNOWN_SHAPE = "unknown shape"
    TOO_SMALL = "too small"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Skipped:
    """A device that was deliberately not probed, and what would have to change."""

    device: str
    reason: SkipReason
    detail: str


Attempt = Measurement | Skipped
