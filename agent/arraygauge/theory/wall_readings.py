"""Comparing noisy rates: what is clearly lower, clearly higher, and how surely."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import erf, inf, sqrt


@dataclass(frozen=True, slots=True)
class Reading:
    """Rates of members read together, the mean of ``count`` runs."""

    rates: Mapping[str, float]
    count: int = 1

    def total(self, members: Iterable[str]) -> float:
        return sum(self.rates[name] for name in members)


def mean_reading(runs: Sequence[Mapping[str, float]]) -> Reading:
    """Runs of the same members made one."""
    return Reading(
        {name: sum(run[name] for run in runs) / len(runs) for name in runs[0]}, len(runs)
    )


@dataclass(frozen=True, slots=True)
class Noise:
    """How far two readings of an unchanged rate can lie apart.

    ``half_width`` is a share: a rate is taken to repeat within plus or minus that.
    """

    half_width: float

    @property
    def clear(self) -> float:
        """The ratio two readings of one rate cannot reach: one high, the other low."""
        return (1 + self.half_width) / (1 - self.half_width)

    def certainty(self, ratio: float, effect: float, counts: tuple[int, int], rates: int) -> float:
        """The probability that a ratio of two sums of ``rates`` readings, off by chance
        alone, stays on this side of ``effect``: 1/2 at the effect itself.

        Each rate's error is taken as even over the half-width, so with a deviation of
        half_width / sqrt(3); those of a ratio add, means and sums shrink them.
        """
        deviation = self.half_width / sqrt(3) * sqrt(sum(1 / count for count in counts) / rates)
        return 0.5 * (1 + erf(abs(ratio - effect) / deviation / sqrt(2)))


def quotient(new: float, old: float) -> float:
    """``new / old``; a member that stood still before has risen without bound."""
    return new / old if old else (inf if new else 1.0)
