"""A group of members against what it did before: the only witness where all are slowed alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from math import log, log2
from statistics import median_low

from arraygauge.judge.passive.compare import demand_per_operation, enough
from arraygauge.judge.passive.intervals import Interval
from arraygauge.values import frozen

LOOKS_TO_LEARN = 300
"""Ten minutes of load of one kind before it can be said to have become slower."""

_CLEARLY_LESS = 0.8

Kind = tuple[int, int]
"""Writes in thirds of all operations, size as a power of two: what loads are told apart by."""


@frozen
class _Learned:
    """The longest demand and wait that a kind of load had, in logarithms."""

    looks: int
    demand: float
    wait: float


@frozen
class Past:
    """What was learned of each kind of load. ``heads``: places on a turning disk differ by
    up to a factor of two in rate, which is then no fault."""

    heads: bool
    learned: Mapping[Kind, _Learned] = field(default_factory=dict)
    best: Mapping[Kind, float] = field(default_factory=dict)
    """The highest bytes per second that the median member has done."""

    @property
    def _margin(self) -> float:
        """Sequential rates at the rim and inside differ by 1.45 to 2 (published drive studies)."""
        return log(2) if self.heads else log(1.1)

    def with_look(
        self, intervals: Mapping[str, Interval], *, learn: bool
    ) -> tuple[Past, float | None]:
        """What is known after a look at the group, and the log ratio of its median member to
        the slowest it was; None while there is nothing to hold it against."""
        judged = [each for each in intervals.values() if enough(each)]
        if len(judged) < 2:
            return self, None
        kind, demand, wait = _kind(judged), *_logs(judged)
        rate = median_low(each.bytes_per_second for each in judged)
        past = replace(self, best={**self.best, kind: max(rate, self.best.get(kind, 0.0))})
        known = self.learned.get(kind)
        if known is None or known.looks < LOOKS_TO_LEARN:
            return (past._with(kind, known, demand, wait) if learn else past), None
        slower = min(demand - known.demand, wait - known.wait) - self._margin
        return past, slower

    def has_done_more(self, interval: Interval) -> bool:
        """Whether the group has moved clearly more than this member does now, in operations of
        its size or smaller ones, with as many writes among them."""
        writes, size = _kind([interval])
        rates = [rate for kind, rate in self.best.items() if kind[0] == writes and kind[1] <= size]
        return interval.bytes_per_second < _CLEARLY_LESS * max(rates, default=0.0)

    def _with(self, kind: Kind, known: _Learned | None, demand: float, wait: float) -> Past:
        if known is None:
            now = _Learned(looks=1, demand=demand, wait=wait)
        else:
            now = _Learned(
                looks=known.looks + 1,
                demand=max(demand, known.demand),
                wait=max(wait, known.wait),
            )
        return replace(self, learned={**self.learned, kind: now})


def _kind(judged: list[Interval]) -> Kind:
    operations = sum(each.operations for each in judged)
    writes = sum(each.writes for each in judged)
    moved = max(1, sum(each.moved_bytes for each in judged))
    return round(3 * writes / operations), round(log2(moved / operations))


def _logs(judged: list[Interval]) -> tuple[float, float]:
    demand = median_low(demand_per_operation(each) for each in judged)
    wait = median_low(each.wait_seconds or 0.0 for each in judged)
    return log(demand), log(max(wait, 1e-6))
