"""The values of the model: what is asked, of what, and what should come of it."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.units import MIB
from arraygauge.values import frozen


class Direction(StrEnum):
    READ = "read"
    WRITE = "write"


class Access(StrEnum):
    SEQUENTIAL = "sequential"
    RANDOM = "random"


@frozen
class Workload:
    """What is asked of a device: ``streams`` sequential streams, or random places,
    with ``queue_depth`` transfers of ``transfer_bytes`` in flight in all.

    Transfers begin at multiples of their size, ``offset_bytes`` past a boundary of
    the array's stripe.
    """

    direction: Direction
    access: Access = Access.SEQUENTIAL
    transfer_bytes: int = MIB
    queue_depth: int = 8
    streams: int = 1
    offset_bytes: int = 0

    @property
    def scattered(self) -> bool:
        """Whether consecutive transfers land in unrelated places: random, or several streams."""
        return self.access is Access.RANDOM or self.streams > 1


class Source(StrEnum):
    """Where a capacity came from; printed beside it."""

    MEASURED = "measured"
    NEGOTIATED = "negotiated"
    DECLARED = "declared"
    RATED = "rated"
    MODELLED = "modelled"
    ASSUMED = "assumed"


class ResourceKind(StrEnum):
    MEMBER = "member"
    LINK = "link"
    JOURNAL = "journal"
    PARITY = "parity arithmetic"


@frozen
class Resource:
    """Something that moves bytes and can be the bottleneck.

    Capacities in bytes per second, one for each direction. A full-duplex link
    carries both at once; a member, or a half-duplex link, does one at a time.
    ``operation_seconds`` is how long it is occupied by each separate operation at an
    unrelated place besides moving its bytes (seek and rotation of a hard disk, the
    controller's own time of an SSD); ``latency_seconds`` passes with each transfer
    without occupying it.
    """

    name: str
    kind: ResourceKind
    read_bytes_per_second: float
    write_bytes_per_second: float
    full_duplex: bool
    source: Source
    members: tuple[str, ...]
    """The members whose traffic it carries; for a member, itself."""
    operation_seconds: float = 0.0
    latency_seconds: float = 0.0


@frozen
class Use:
    """How one resource is used when the array runs at the expected rate.

    ``demand`` is the service demand: seconds of this resource for each byte of
    user data. ``utilisation`` is its share of time busy at the ceiling, 0 to 1.
    """

    resource: Resource
    demand_seconds_per_byte: float
    utilisation: float


@frozen
class Expectation:
    """A band of rates, what bounds it, and on what it stands.

    ``floor`` and ``ceiling`` in bytes of user data per second: between them lies
    what the model cannot know (how many stripes are written whole, which mirror
    serves a read, how transfers meet in queues). ``bottleneck`` has the largest
    demand at the ceiling. ``depth_bound`` says that too few transfers are in flight
    to keep even the bottleneck busy: latency sets the pace.
    """

    workload: Workload
    floor_bytes_per_second: float
    ceiling_bytes_per_second: float
    bottleneck: Resource
    depth_bound: bool
    uses: tuple[Use, ...]
    assumptions: tuple[str, ...]


SEQUENTIAL_READ = Workload(direction=Direction.READ)
"""Long files played or copied: the workload expected where nothing else is said."""
SEQUENTIAL_WRITE = Workload(direction=Direction.WRITE)
