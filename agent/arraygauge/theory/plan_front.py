"""Which options no other beats, and which of those is the most balanced."""

from __future__ import annotations

from collections.abc import Iterable
from math import log, prod

from arraygauge.theory.geometry import PARITY_LEVELS
from arraygauge.theory.plan_values import PlannedOption, Prediction
from arraygauge.theory.values import Expectation
from arraygauge.units import MIB

STEP = 0.02
"""What differs by less counts as the same where options are compared: the model is not sharper
than that (README.md beside this file)."""
USUAL_CHUNK = MIB // 2
"""md's own default (common practice, no published source for what suits best)."""
MANY_MEMBERS = 6
"""With more members than that, one failure is too few for parity to survive (common practice, no
published source): any other may come while the first is rebuilt. Of mirrors only the partner
counts."""

Merits = tuple[int, int, int, int]
"""Capacity, reading, writing and failures survived, each in steps: more is better."""


def merits(prediction: Prediction) -> Merits:
    """By what an option is compared: rates at the floor, which it gives at least, and the
    failures it survives whichever members they befall."""
    return (
        _steps(prediction.capacity.usable_bytes),
        _steps(prediction.read.floor_bytes_per_second),
        _steps(prediction.write.floor_bytes_per_second),
        prediction.survives.guaranteed,
    )


def _steps(value: float) -> int:
    return round(log(value) / log(1 + STEP)) if value > 0 else 0


def beats(one: Merits, other: Merits) -> bool:
    """Whether it is as good in everything and better in something."""
    return one != other and all(mine >= theirs for mine, theirs in zip(one, other, strict=True))


def pareto_front(options: Iterable[PlannedOption]) -> tuple[PlannedOption, ...]:
    """Those no other beats, one of each set of equals: there the higher ceilings win, then fewer
    members, then the chunk nearest to the usual, then the first."""
    of_merit: dict[Merits, PlannedOption] = {}
    for option in options:
        found = merits(option.prediction)
        kept = of_merit.get(found)
        if kept is None or _preference(option) > _preference(kept):
            of_merit[found] = option
    front: dict[Merits, PlannedOption] = {}
    for found in sorted(of_merit, reverse=True):  # what beats another comes before it
        if not any(beats(other, found) for other in front):
            front[found] = of_merit[found]
    return tuple(front.values())


def _preference(planned: PlannedOption) -> tuple[int, int, int, float]:
    prediction = planned.prediction
    chunk = prediction.option.chunk_bytes or USUAL_CHUNK
    return (
        _steps(prediction.read.ceiling_bytes_per_second),
        _steps(prediction.write.ceiling_bytes_per_second),
        -prediction.option.width,
        -abs(log(chunk / USUAL_CHUNK)),
    )


def recommended_option(options: Iterable[PlannedOption]) -> PlannedOption | None:
    """The most balanced that survives a failure, two where parity has many members, and any
    where none does; None where there are no options."""
    ranked = by_balance(options)
    for least in (_wanted_failures, lambda _: 1):
        for each in ranked:
            if each.prediction.survives.guaranteed >= least(each):
                return each
    return ranked[0] if ranked else None


def _wanted_failures(planned: PlannedOption) -> int:
    many = planned.option.width > MANY_MEMBERS
    return 2 if many and planned.option.level in PARITY_LEVELS else 1


def in_order(options: Iterable[PlannedOption]) -> tuple[PlannedOption, ...]:
    """The recommended one, then all that survive a failure, then the rest, balanced ones first."""
    ranked = by_balance(options)
    first = recommended_option(ranked)
    return tuple(
        sorted(
            ranked, key=lambda each: (each is not first, not each.prediction.survives.guaranteed)
        )
    )


def by_balance(options: Iterable[PlannedOption]) -> tuple[PlannedOption, ...]:
    """Highest first: the product of the shares that capacity and both rates, in the middle of
    their bands, are of the best there is, so that doubling one is worth halving another."""
    held = tuple(options)
    figures = [_figures(each.prediction) for each in held]
    best = [max(column) for column in zip(*figures, strict=True)]

    def balance(place: int) -> float:
        shares = zip(figures[place], best, strict=True)
        return prod([mine / most for mine, most in shares if most], start=1.0)

    return tuple(held[place] for place in sorted(range(len(held)), key=balance, reverse=True))


def _figures(prediction: Prediction) -> tuple[float, float, float]:
    return (prediction.capacity.usable_bytes, _middle(prediction.read), _middle(prediction.write))


def _middle(band: Expectation) -> float:
    return (band.floor_bytes_per_second + band.ceiling_bytes_per_second) / 2
