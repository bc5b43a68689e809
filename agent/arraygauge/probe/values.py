"""What is asked of a probe, and what came of it."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.inventory.values import DeviceNumber, Link
from arraygauge.theory.values import Workload
from arraygauge.values import frozen


class Route(StrEnum):
    """How the device was reached."""

    RAW = "raw"
    FILE = "file"


class Outcome(StrEnum):
    """Why a probe ended. Only the first two carry a rate that may be judged."""

    COMPLETED = "completed"
    BUDGET_SPENT = "budget spent"
    GAVE_WAY = "gave way"
    INTERRUPTED = "interrupted"
    SUSPENDED = "suspended"
    REFUSED = "refused"
    TOO_HOT = "too hot"
    NOTHING_STORED = "nothing stored"
    VANISHED = "vanished"
    READ_ERROR = "read error"
    TIMED_OUT = "timed out"
    ABANDONED = "abandoned"
    CRASHED = "crashed"


@frozen
class Extent:
    """A contiguous range, in bytes from the start of the device or file."""

    start_bytes: int
    length_bytes: int


@frozen
class Meeting:
    """Shared memory of ``count`` words, one for each child; ``place`` is this one's. Each sets
    its own when it is ready to read, and reads when all are set."""

    descriptor: int
    place: int
    count: int


@frozen
class ProbeRequest:
    """One burst of reads on one device, by one child.

    The extents are read in turn, each for ``place_seconds`` that are counted or until
    its end. The first begins with ``warm_up_seconds`` that are not counted (a drive
    wakes, a queue fills), the others with ``settle_seconds``. No extent begins after
    ``longest_seconds``. ``max_bytes`` bounds all that is read; ``deadline_seconds`` the
    child's whole life. Where ``in_flight_seconds`` is given, only so
    much is kept in flight once it is warm as the drive answers in that time, at least two
    transfers and at most the workload's. ``meeting``, where several devices are to
    be read at one time, is where their children wait for each other. ``number`` is what
    fstat must show before a raw read. A drive above ``hottest_celsius`` is not read.
    """

    device: str
    route: Route
    path: str
    number: DeviceNumber | None
    workload: Workload
    extents: tuple[Extent, ...]
    warm_up_seconds: float
    settle_seconds: float
    place_seconds: float
    longest_seconds: float
    max_bytes: int
    deadline_seconds: float
    in_flight_seconds: float | None = None
    meeting: Meeting | None = None
    temperature_file: str | None = None
    hottest_celsius: float | None = None


@frozen
class LatencyQuantiles:
    """Seconds from submission to completion of one transfer."""

    median: float
    p90: float
    p99: float
    maximum: float


@frozen
class PlaceRate:
    """The rate at one place: where it begins, and what was counted there.

    ``zero_bytes`` of what was read there were zeros, uncounted transfers included.
    """

    start_bytes: int
    bytes_read: int
    seconds: float
    zero_bytes: int = 0

    @property
    def bytes_per_second(self) -> float:
        return self.bytes_read / self.seconds

    @property
    def empty(self) -> bool:
        """Too many zeros to stand for stored data: more than a twentieth."""
        return self.zero_bytes > self.bytes_read / 20


@frozen
class Burst:
    """What one child gave. ``bytes_read`` includes what was not counted. Where it read together
    with others, ``progress`` holds moments, in seconds of a clock that all share, and the bytes
    that had come by then."""

    outcome: Outcome
    detail: str | None
    started_at_seconds: float
    seconds: float
    bytes_read: int
    places: tuple[PlaceRate, ...]
    latency: LatencyQuantiles | None
    temperature_celsius: float | None
    progress: tuple[tuple[float, int], ...] = ()


@frozen
class Measurement:
    """What one probing, of one or several bursts, gave.

    ``bytes_per_second`` is the median over ``places``, on a device that slows toward its
    end brought to its middle first (``slope`` says by how much: the change from its first
    byte to its last, as a share of the median; None where no such slope was found).
    ``low`` and ``high`` bound the 95 % confidence interval of that median; None while there
    are too few places to say (under six). All are None when too little was read.
    ``set_aside`` are places that held zeros, which a solid-state drive answers without
    reading. ``seconds`` were spent reading, in ``bursts`` bursts. ``temperature_celsius``
    is the drive's as the last burst began, ``slowest_link`` the slowest on its path.
    """

    device: str
    route: Route
    path: str
    workload: Workload
    outcome: Outcome
    detail: str | None
    started_at_seconds: float
    seconds: float
    bursts: int
    bytes_read: int
    bytes_per_second: float | None
    low_bytes_per_second: float | None
    high_bytes_per_second: float | None
    slope: float | None
    latency: LatencyQuantiles | None
    places: tuple[PlaceRate, ...]
    set_aside: tuple[PlaceRate, ...]
    temperature_celsius: float | None
    slowest_link: Link | None

    @property
    def usable(self) -> bool:
        """Whether the rate may be judged."""
        return self.bytes_per_second is not None and self.outcome in (
            Outcome.COMPLETED,
            Outcome.BUDGET_SPENT,
        )

    @property
    def failed(self) -> bool:
        """Whether reading it failed: what else is done with it could fail alike."""
        return self.outcome in (
            Outcome.READ_ERROR,
            Outcome.TIMED_OUT,
            Outcome.ABANDONED,
            Outcome.VANISHED,
        )

    @property
    def uncertainty(self) -> float | None:
        """Half the interval's width as a share of the rate."""
        low, high = self.low_bytes_per_second, self.high_bytes_per_second
        rate = self.bytes_per_second
        if low is None or high is None or not rate:
            return None
        return (high - low) / 2 / rate


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
    OTHERS_AT_WORK = "others at work"
    ON_BATTERY = "on battery"
    ASLEEP = "asleep"
    QUIET_HOURS = "quiet hours"
    BUDGET_SPENT = "budget spent"
    BUDGET_UNKNOWN = "budget unknown"


@frozen
class Skipped:
    """A device that was deliberately not probed, and what would have to change."""

    device: str
    reason: SkipReason
    detail: str


Attempt = Measurement | Skipped
