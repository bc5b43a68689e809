"""Unreadable sectors and data loss, by the published formulas.

Every figure here is an idealisation and says so. A drive's published bit error rate
is a *bound of its specification*: field experience is mostly far better, so the
probability from it is the worst the maker allows, never a forecast. Mean times to
data loss take failures as independent, memoryless and at a constant rate, and
repairs as certain; they compare arrays, they do not foretell the fate of one.

Sources: Chen, Lee, Gibson, Katz, Patterson, ACM Computing Surveys 26(2), 1994, section
3.4 and tables 4 to 6; Patterson, Gibson, Katz, SIGMOD 1988. An hour is the unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from itertools import combinations
from math import expm1, factorial, log1p, perm, prod

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry, placements
from arraygauge.theory.redundancy import survivable
from arraygauge.values import frozen

HOURS_PER_YEAR = 8760.0
"""365 days, as Chen et al. count."""


@frozen
class SpecificationBound:
    """A probability that a published rate allows at most, with the rate it follows from."""

    probability: float
    bytes_read: float
    errors_per_bit: float


def unreadable_sector(bytes_read: float, errors_per_bit: float) -> SpecificationBound:
    """At least one unreadable sector in ``bytes_read``, if errors came as often as the
    published rate allows: 1 - (1 - p) ** bits. Raises ValueError unless 0 <= p < 1."""
    if not 0 <= errors_per_bit < 1 or bytes_read < 0:
        raise ValueError(f"{bytes_read} bytes at {errors_per_bit} errors a bit")
    return SpecificationBound(
        probability=-expm1(8 * bytes_read * log1p(-errors_per_bit)),
        bytes_read=bytes_read,
        errors_per_bit=errors_per_bit,
    )


@frozen
class Reliability:
    """What the formulas ask of drives and host.

    ``disk_hours`` are mean times to failure of the first disk, then of the next while
    one is down, and so on (drives of one batch in one heat fail together): the last
    stands for all further ones. ``disk_unreadable`` is the probability that reading a
    whole disk meets an unreadable sector. ``system_hours`` is the mean time between
    crashes that may leave parity wrong; None where a crash cannot: mirrors, a journal.
    """

    disk_hours: tuple[float, ...]
    repair_hours: float
    disk_unreadable: float = 0.0
    system_hours: float | None = None
    system_repair_hours: float = 1.0

    def disk_failures(self, count: int) -> float:
        """The product of the mean times of ``count`` failures one upon another."""
        last = self.disk_hours[-1]
        return prod(self.disk_hours[i] if i < len(self.disk_hours) else last for i in range(count))


@frozen
class Exposure:
    """How many ways an array can lose data.

    ``sequences[k]`` counts the orders in which k + 1 disks can fail one upon another
    on the way to loss; the last entry is loss. ``rebuild_disks`` is how many whole
    disks the rebuild before it must read without one unreadable sector.
    """

    sequences: tuple[float, ...]
    rebuild_disks: float

    @property
    def tolerated(self) -> int:
        return len(self.sequences) - 1


def exposure(geometry: Geometry) -> Exposure:
    """A healthy array of this shape; missing slots count as replaced.

    raid10 counts the sets of members that hold all copies of some chunk, so that
    far, offset and odd layouts, whose copies chain all members, come out too: the
    published reasoning on layouts the papers did not have.
    """
    healthy = replace(geometry, missing=frozenset())
    tolerated = survivable(healthy).guaranteed
    if geometry.level is not Level.RAID10:
        return grouped(geometry.slots, geometry.slots, tolerated)
    chunks = [frozenset(chunk) for chunk in placements(Level.RAID10, healthy.slots, healthy.layout)]
    sets = [_subsets(chunks, size) for size in range(tolerated + 2)]
    last_held = [sum(lost <= chunk for chunk in chunks) for lost in sets[tolerated]]
    per_disk = sum(len(chunk) for chunk in chunks) / geometry.slots
    return Exposure(
        sequences=tuple(
            float(factorial(size) * len(sets[size])) for size in range(1, tolerated + 2)
        ),
        rebuild_disks=sum(last_held) / len(last_held) / per_disk,
    )


def _subsets(chunks: Sequence[frozenset[int]], size: int) -> set[frozenset[int]]:
    return {frozenset(lost) for chunk in chunks for lost in combinations(sorted(chunk), size)}


def grouped(disks: float, group: int, tolerated: int) -> Exposure:
    """``disks`` in groups of ``group``, parity or copies included, each of which
    survives ``tolerated`` failures (Chen et al., where the number of disks may come
    out fractional). Raises ValueError where the group is too small."""
    if not 0 <= tolerated < group:
        raise ValueError(f"a group of {group} cannot survive {tolerated} failures")
    return Exposure(
        sequences=tuple(disks * perm(group - 1, further) for further in range(tolerated + 1)),
        rebuild_disks=group - tolerated if tolerated else 0,
    )


class Cause(StrEnum):
    """What ends an array in the published formulas."""

    DISKS = "more disk failures than it survives"
    UNREADABLE = "an unreadable sector while nothing is left to compute it from"
    CRASH = "a disk failure before parity is put right after a crash"


@frozen
class LossTime:
    """Mean time to data loss: by each cause alone, and by all (their harmonic sum)."""

    hours: float
    by_cause: tuple[tuple[Cause, float], ...]
    assumptions: tuple[str, ...]

    @property
    def years(self) -> float:
        return self.hours / HOURS_PER_YEAR


_IDEALISED = (
    "an idealisation: failures independent and memoryless, repairs always in time and right",
    "good for comparing arrays, no forecast for one of them",
)


def loss_time(ways: Exposure, reliability: Reliability) -> LossTime:
    """Mean time to data loss by the published formulas, in hours.

    Disks: M1 M2 ... / (sequences * R ** k). Unreadable sector: the same with one
    failure fewer, divided by the probability that the last rebuild meets one. Crash:
    Msystem * M1 / (N * Rsystem). Where a cause cannot be, it is left out.
    """
    hours = [(Cause.DISKS, _by_disks(ways, reliability, ways.tolerated + 1))]
    if ways.tolerated and reliability.disk_unreadable:
        met = -expm1(ways.rebuild_disks * log1p(-reliability.disk_unreadable))
        hours.append((Cause.UNREADABLE, _by_disks(ways, reliability, ways.tolerated) / met))
    if ways.tolerated and reliability.system_hours is not None:
        one_disk = _by_disks(ways, reliability, 1)
        crashed = reliability.system_hours / reliability.system_repair_hours
        hours.append((Cause.CRASH, crashed * one_disk))
    return LossTime(
        hours=1 / sum(1 / time for _, time in hours),
        by_cause=tuple(hours),
        assumptions=_IDEALISED,
    )


def _by_disks(ways: Exposure, reliability: Reliability, failures: int) -> float:
    """Mean hours until ``failures`` disks are down at once, on the way to loss."""
    repairs = reliability.repair_hours ** (failures - 1)
    return reliability.disk_failures(failures) / (ways.sequences[failures - 1] * repairs)


def loss_probability(time: LossTime, years: float) -> float:
    """1 - exp(-years / mean time): the same idealisation as the mean it comes from."""
    return -expm1(-years / time.years)
