"""The values of the model: what is asked, of what, and what should come of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from arraygauge.units import MIB


class Direction(StrEnum):
    READ = "read"
    WRITE = "write"


class Access(StrEnum):
    SEQUENTIAL = "sequential"
    RANDOM = "random"


@dataclass(frozen=True, slots=True, kw_only=True)
class Workload:
    """What is asked of a device: ``streams`` sequential streams, or random places,
    with ``queue_depth`` transfers of ``transfer_bytes`` in flight in all."""

    direction: Direction
    access: Access = Access.SEQUENTIAL
    transfer_bytes: int = MIB
    queue_depth: int = 8
    streams: int = 1


class Source(StrEnum):
    """Where a capacity came from; printed beside it."""

    MEASURED = "measured"
    NEGOTIATED = "negotiated"
    DECLARED = "declared"
    RATED = "rated"
    ASSUMED = "assumed"


class ResourceKind(StrEnum):
    MEMBER = "member"
    LINK = "link"
    PARITY = "parity arithmetic"


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """Something that moves bytes and can be the bottleneck.

    Capacities in bytes per second, one for each direction. A full-duplex link
    carries both at once; a member, or a half-duplex link, does one at a time.
    """

    name: str
    kind: ResourceKind
    read_bytes_per_second: float
    write_bytes_per_second: float
    full_duplex: bool
    source: Source
    members: tuple[str, ...]
    """The members whose traffic it carries; for a member, itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """How one resource is used when the array runs at the expected rate.

    ``demand`` is the service demand: seconds of this resource for each byte of
    user data. ``utilisation`` is its share of time busy at the ceiling, 0 to 1.
    """

    resource: Resource
    demand_seconds_per_byte: float
    utilisation: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """A band of rates, what bounds it, and on what it stands.

    ``floor`` and ``ceiling`` in bytes of user data per second: between them lies
    what the model cannot know (how many stripes are written whole, which mirror
    serves a read). ``bottleneck`` has the largest demand at the ceiling.
    """

    workload: Workload
    floor_bytes_per_second: float
    ceiling_bytes_per_second: float
    bottleneck: Resource
    uses: tuple[Use, ...]
    assumptions: tuple[str, ...]


SEQUENTIAL_READ = Workload(direction=Direction.READ)
"""Long files played or copied: the workload expected where nothing else is said."""
SEQUENTIAL_WRITE = Workload(direction=Direction.WRITE)
