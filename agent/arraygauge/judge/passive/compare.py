"""One look at members side by side: how much longer one took for the same work.

Time for an operation is a + b · bytes. A member whose operations are smaller than its
peers' has more time a byte and less an operation, one whose operations are larger the
reverse: only one that is slow takes longer by both counts, so the lower of the two ratios
cannot be raised by the mix of sizes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from math import exp, inf, log, sqrt
from statistics import median_low

from arraygauge.judge.passive.intervals import Interval
from arraygauge.judge.passive.peers import Peers
from arraygauge.values import frozen

FEWEST_OPERATIONS = 30
"""In one look. Times of single operations vary up to exponentially: 18 % of their mean's."""
MORE_WORK = 1.1
"""A member that did over this share of its peers' work is busy before it is slow."""
HIGH_WAIT = 2.0
"""Published field studies call a drive slow from twice its peers' median wait."""

FACE_VALUE = 3.5
"""A higher demand ratio alone may be that of a drive held to a rate it shares with its peers,
which, having a little credit left, look much faster than they could go on to be."""

_RESOLUTION_SECONDS = 0.002
"""Times are whole milliseconds at both ends."""
_LEAST_WAIT = 1.2
"""Below this the member's requests wait no longer than others': nobody is hurt."""
_SOME_DEMAND = 1.25
"""The demand ratio from which a high wait is not only a queue before a member like its peers:
drives of one model differ by some 5 % (common practice, no published source)."""


@frozen
class Comparison:
    """A member against others in one look: ``demand`` and ``wait`` as ratios, ``work`` as
    the higher ratio of operations and bytes. ``alike`` is whether the loads compare."""

    demand: float
    wait: float
    work: float
    more_work: bool
    alike: bool

    @property
    def slowness(self) -> float:
        """The log ratio that speaks of a slow member, 0 where a busy one explains it.

        What serves many requests at once shows less of its slowness as busy time: with
        some of it there, its requests' wait counts as well.
        """
        if not self.alike or self.more_work or self.wait < _LEAST_WAIT:
            return min(0.0, log(self.demand))
        if self.demand >= _SOME_DEMAND and self.wait > self.demand:
            return max(log(self.demand), log(self.demand * self.wait) / 2)
        return log(self.demand)

    @property
    def waiting(self) -> float:
        """The log ratio of the waits, 0 where a busy member explains it."""
        return min(0.0, log(self.wait)) if self.more_work or not self.alike else log(self.wait)


def enough(interval: Interval) -> bool:
    """Whether there was I/O enough to judge by, and no discards, which take what they take."""
    return interval.operations >= FEWEST_OPERATIONS and not interval.discards


def demand_per_operation(interval: Interval) -> float:
    """Busy seconds for each operation. The kernel counts busy time in whole ticks, so short
    requests appear longer; but nothing is busy for longer than requests are in flight."""
    busy = max(_RESOLUTION_SECONDS, min(interval.busy_seconds, interval.weighted_seconds))
    return busy / interval.operations


def compare(
    name: str, others: Iterable[str], intervals: Mapping[str, Interval], peers: Peers
) -> Comparison | None:
    """One member against the median of others; None where either did too little."""
    own = intervals[name]
    rest = [intervals[other] for other in others if enough(intervals[other])]
    if not rest or not enough(own):
        return None
    sizes = _ratio(own, rest, lambda each: each.moved_bytes / each.operations)
    demand = _ratio(own, rest, demand_per_operation)
    operations = _ratio(own, rest, lambda each: each.operations)
    moved = _ratio(own, rest, lambda each: each.moved_bytes)
    work = max(operations, moved)
    return Comparison(
        demand=min(demand, demand / sizes),
        wait=_wait_ratio(own, rest),
        work=work,
        more_work=work > MORE_WORK + 2 / sqrt(own.operations),
        alike=_alike(own, rest, peers, sizes=sizes, work=min(operations, moved)),
    )


def _ratio(own: Interval, rest: list[Interval], of: Callable[[Interval], float]) -> float:
    reference = median_low(of(each) for each in rest)
    return max(of(own), 1e-9) / max(reference, 1e-9)


def _wait_ratio(own: Interval, rest: list[Interval]) -> float:
    """Of reads and of writes by themselves, the lower by operations and by bytes; the two
    directions weigh as the member's own operations do."""
    total = 0.0
    weight = 0
    for reads in (True, False):
        count, _, _ = _direction(own, reads=reads)
        present = [each for each in rest if _direction(each, reads=reads)[0] >= 10]
        if count < 10 or not present:
            continue
        wait = _ratio(own, present, lambda each, reads=reads: _wait(each, reads=reads))  # type: ignore[misc]
        size = _ratio(own, present, lambda each, reads=reads: _size(each, reads=reads))  # type: ignore[misc]
        total += count * log(min(wait, wait / size))
        weight += count
    return exp(total / weight) if weight else 1.0


def _direction(interval: Interval, *, reads: bool) -> tuple[int, int, float]:
    if reads:
        return interval.reads, interval.read_bytes, interval.read_seconds
    return interval.writes, interval.written_bytes, interval.write_seconds


def _wait(interval: Interval, *, reads: bool) -> float:
    count, _, seconds = _direction(interval, reads=reads)
    return max(seconds, _RESOLUTION_SECONDS) / count


def _size(interval: Interval, *, reads: bool) -> float:
    count, moved, _ = _direction(interval, reads=reads)
    return moved / count


def _alike(own: Interval, rest: list[Interval], peers: Peers, *, sizes: float, work: float) -> bool:
    """Whether the loads compare. Reads and writes do not cost the same. Mirrors: one with
    little to do, or with other requests, is another drive; where heads move, the far more so
    as one copy may serve all that is read in order."""
    share = own.writes / own.operations
    shares = median_low(each.writes / each.operations for each in rest)
    if abs(share - shares) > 0.15:
        return False
    if peers.even:
        return True
    least, most = (0.7, 1.3) if peers.heads else (0.3, 1.5)
    return work >= least and 1 / most <= sizes <= most


def slow_together(names: Iterable[str], intervals: Mapping[str, Interval], peers: Peers) -> float:
    """The log ratio of a set of members against all others: that of the least slow, so that
    one slow member does not speak for its path. 0 where it cannot be told."""
    inside = frozenset(names)
    outside = [name for name in peers.members if name not in inside and name in intervals]
    found = [compare(name, outside, intervals, peers) for name in inside if name in intervals]
    told = [each.slowness for each in found if each is not None]
    return min(told, default=inf) if len(told) >= 2 else 0.0
