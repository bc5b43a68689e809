"""What footage somebody promised an array to carry, and how many streams of it that does."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from fractions import Fraction

from arraygauge.theory.conditions import Condition
from arraygauge.theory.expect import MemberRate
from arraygauge.theory.footage import Stream
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.paths import Board
from arraygauge.values import frozen


@frozen
class Promise:
    """``streams`` of one kind played at once, with ``headroom`` (a share of the array's rate)
    left free; ``streams`` None where it is only asked how many there may be."""

    name: str
    stream: Stream
    streams: int | None
    headroom: Fraction


class Holding(StrEnum):
    """Whether a promise holds."""

    HOLDS = "holds"
    PERHAPS = "may hold"
    TIGHT = "holds without its headroom"
    FAILS = "does not hold"


class Basis(StrEnum):
    """On what a figure stands: the array's own rate, as a pass measured it, or its members'.
    What several streams cost beside one is the model's in both."""

    MEASURED = "measured"
    PREDICTED = "predicted"


@frozen
class Carried:
    """What an array carries in one condition.

    Streams ``least`` and ``most`` are with the headroom, ``bare_streams`` is the most without.
    The rates, in bytes per second, are for as many streams as were promised, or else for those
    it carries. Between least and most lies what the model cannot know; of a rebuild, how far
    the kernel slows it down. ``now`` says that it is the array's present condition.
    """

    condition: Condition
    now: bool
    basis: Basis
    least_bytes_per_second: float
    most_bytes_per_second: float
    least_streams: int
    most_streams: int
    bare_streams: int

    def holding(self, promise: Promise) -> Holding | None:
        """None where no number was promised."""
        wanted = promise.streams
        if wanted is None:
            return None
        if self.least_streams >= wanted:
            return Holding.HOLDS
        if self.most_streams >= wanted:
            return Holding.PERHAPS
        return Holding.TIGHT if self.bare_streams >= wanted else Holding.FAILS


@frozen
class Grasp:
    """What a pass learned of an array that the next look can judge it by: its members' rates in
    bytes per second by name, which of them have heads to move, its shape in that pass, and the
    share of its expected rate that it was measured to give, 1 where it was not short of it.
    ``board`` is what else the model stands on."""

    rates: Mapping[str, MemberRate]
    heads: frozenset[str]
    geometry: Geometry
    share: float
    board: Board


@frozen
class FootageVerdict:
    """One promise, in every condition that the level survives; nothing ``carried`` where too
    little is known of the array."""

    promise: Promise
    carried: tuple[Carried, ...] = ()
    grasp: Grasp | None = None

    @property
    def now(self) -> Carried | None:
        """In the array's present condition."""
        return next((each for each in self.carried if each.now), None)
