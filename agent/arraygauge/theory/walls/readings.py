"""Comparing noisy rates: what is clearly lower, clearly higher, and how surely."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import erf, inf, sqrt

from arraygauge.values import frozen

Names = frozenset[str]

_ROUNDING = 1 + 1e-9
"""Readings exactly at the edges of the noise stay within it, whatever sums do."""


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


@frozen
class Evidence:
    """Each member alone, all together, and the noise that other runs are compared within.

    ``noise`` is a share: one rate is taken to repeat within plus or minus that.
    """

    solo: Reading
    together: Reading
    noise: float

    @property
    def clear(self) -> float:
        """The ratio two readings of one rate cannot pass: one high, the other low."""
        return (1 + self.noise) / (1 - self.noise) * _ROUNDING

    @property
    def doubtful(self) -> float:
        """The ratio from which a change is likely enough to look again."""
        return 1 + 1.5 * self.noise

    @property
    def everyone(self) -> Names:
        return frozenset(self.solo.rates)

    def pace(self, name: str) -> float:
        """The part of its solo rate that a member keeps when all run together."""
        return self.together.rates[name] / self.solo.rates[name]

    def slowed(self, names: Iterable[str], reading: Reading) -> Names:
        """Those clearly below their solo rate."""
        return frozenset(
            name for name in names if reading.rates[name] * self.clear < self.solo.rates[name]
        )

    def rise(self, names: Iterable[str], reading: Reading) -> float:
        """What the members carry in a run of fewer, over what they carry with all."""
        chosen = tuple(names)
        new, old = reading.total(chosen), self.together.total(chosen)
        return new / old if old else (inf if new else 1.0)

    def risers(self, names: Iterable[str], reading: Reading) -> Names:
        """Those clearly faster than with all."""
        return frozenset(name for name in names if self.rise((name,), reading) > self.clear)

    def risen(self, names: Names, reading: Reading) -> bool:
        """Whether any of them is clearly faster than with all."""
        return bool(self.risers(names, reading))

    def alike(self, names: Iterable[str]) -> bool:
        """Equal shares, or equal parts of what each could do alone: as behind one wall."""
        chosen = tuple(names)
        shares = [self.together.rates[name] for name in chosen]
        parts = [self.pace(name) for name in chosen]
        return any(max(values) <= min(values) * self.clear for values in (shares, parts))

    def certainty_of_slowing(self, names: Names, reading: Reading) -> float:
        ratio = reading.total(names) / self.solo.total(names)
        return self._certainty(abs(1 - ratio), 1, reading.count, len(names))

    def certainty_of_rise(self, names: Names, reading: Reading) -> float:
        change = abs(self.rise(names, reading) - 1)
        return self._certainty(change, self.together.count, reading.count, len(names))

    def certainty_below(self, effect: float, names: Names, reading: Reading) -> float:
        """That no rise as large as ``effect``, a share, was hidden by noise."""
        gap = 1 + effect - self.rise(names, reading)
        return self._certainty(gap, self.together.count, reading.count, len(names))

    def _certainty(self, gap: float, first: int, second: int, rates: int) -> float:
        """The probability that noise alone does not bridge ``gap`` between two sums of
        ``rates`` readings, each the mean of so many runs; 1/2 where there is no gap.

        An error even over the noise has a deviation of noise / sqrt(3); those of the two
        readings add, means and sums shrink them; they are taken as normal.
        """
        deviation = self.noise / sqrt(3) * sqrt((1 / first + 1 / second) / rates)
        return 0.5 * (1 + erf(gap / deviation / sqrt(2)))
