"""What may be built of the drives at hand, and what would come of it: the values of a plan."""

from __future__ import annotations

from arraygauge.inventory.values import Level
from arraygauge.theory.capacity import Capacity
from arraygauge.theory.expect import MemberRate
from arraygauge.theory.geometry import DEFAULT_LAYOUTS, Copies, Geometry
from arraygauge.theory.rebuild import SyncBand
from arraygauge.theory.redundancy import Survivable
from arraygauge.theory.values import (
    SEQUENTIAL_READ,
    SEQUENTIAL_WRITE,
    Expectation,
    Resource,
    Source,
    Workload,
)
from arraygauge.units import KIB
from arraygauge.values import frozen

PLANNED_CHUNKS = tuple(KIB << step for step in range(5, 11))
"""32 KiB to 1 MiB."""
NEAR_2, FAR_2, OFFSET_2 = DEFAULT_LAYOUTS[Level.RAID10], 0x201, 0x10201
"""raid10 layout numbers of two copies (near | far << 8 | offset << 16; md.rst)."""


@frozen
class PlannedDrive:
    """A drive on hand or on paper. ``rate.write_bytes_per_second`` of None is taken to be the
    read rate, and ``write_source`` is then ``ASSUMED``. ``size_bytes`` is what it offers to an
    array; ``rotational`` is None where not known. ``timing_source`` is that of the rate's
    operation and latency."""

    name: str
    size_bytes: int
    rate: MemberRate
    write_source: Source = Source.ASSUMED
    timing_source: Source = Source.ASSUMED
    rotational: bool | None = None


@frozen
class Supply:
    """The drives and the bus they hang on: ``links`` name the drives behind them as their
    members. Bytes of data a second through the parity arithmetic, None where not known."""

    drives: tuple[PlannedDrive, ...]
    links: tuple[Resource, ...] = ()
    parity_bytes_per_second: float | None = None
    parity_source: Source = Source.DECLARED

    def drive(self, name: str) -> PlannedDrive:
        """KeyError for a drive that is not there."""
        for each in self.drives:
            if each.name == name:
                return each
        raise KeyError(name)


@frozen
class Asked:
    """The work an array is wanted for: the same reading and writing."""

    read: Workload = SEQUENTIAL_READ
    write: Workload = SEQUENTIAL_WRITE


@frozen
class Scope:
    """Which options are looked at. ``widths`` are member counts, None for 2 to all."""

    levels: tuple[Level, ...] = (
        Level.RAID0,
        Level.RAID1,
        Level.RAID10,
        Level.RAID5,
        Level.RAID6,
    )
    chunks: tuple[int, ...] = PLANNED_CHUNKS
    widths: tuple[int, ...] | None = None


@frozen
class Option:
    """One array that could be made; ``chunk_bytes`` and ``layout`` are None for levels that
    have none. ``members`` are drives of the supply by name, in slot order."""

    level: Level
    members: tuple[str, ...]
    chunk_bytes: int | None = None
    layout: int | None = None

    @property
    def width(self) -> int:
        return len(self.members)

    @property
    def family(self) -> tuple[Level, int | None]:
        """What stays the same when members and chunks change."""
        return self.level, self.layout

    @property
    def name(self) -> str:
        """The level, with the kind of copies: 'raid10 far 2'."""
        if self.level is not Level.RAID10:
            return str(self.level)
        copies = Copies.from_layout(self.layout)
        kind = "offset" if copies.offset else "far" if copies.far > 1 else "near"
        return f"{self.level} {kind} {copies.total}"

    def geometry(self, *, seeks: bool | None) -> Geometry:
        return Geometry(
            level=self.level,
            slots=self.width,
            chunk_bytes=self.chunk_bytes,
            layout=self.layout,
            seeks=seeks,
        )


@frozen
class Prediction:
    """What an option would hold, survive and give. ``rebuild`` is of one member, and None where
    nothing could be rebuilt."""

    option: Option
    capacity: Capacity
    survives: Survivable
    read: Expectation
    write: Expectation
    rebuild: SyncBand | None


@frozen
class Gain:
    """What the last member brought over one fewer, as shares: 0.25 is a quarter more. Rates at
    the ceiling, failures survived as a count."""

    read: float
    write: float
    survives: int

    @property
    def nothing(self) -> bool:
        """Whether it brought no speed and no safety; room it may bring all the same."""
        return self.read < LEAST_GAIN_SHARE and self.write < LEAST_GAIN_SHARE and self.survives <= 0


LEAST_GAIN_SHARE = 0.01
"""Less than that is nothing: predictions are not that sharp (README.md beside this file)."""


@frozen
class PlannedOption:
    """A prediction among its neighbours. ``gain`` is None where one member fewer is no option;
    ``one_more`` is what the next drive would bring, among the best one on paper where all are
    taken, and None where that is no option either."""

    prediction: Prediction
    gain: Gain | None
    one_more: Gain | None

    @property
    def option(self) -> Option:
        return self.prediction.option


@frozen
class Plan:
    """``best`` are those no other beats in capacity, reading, writing and failures survived, the
    most balanced first; ``others`` are all the rest, in the order they were enumerated."""

    supply: Supply
    asked: Asked
    best: tuple[PlannedOption, ...]
    others: tuple[PlannedOption, ...]

    @property
    def options(self) -> tuple[PlannedOption, ...]:
        return (*self.best, *self.others)
