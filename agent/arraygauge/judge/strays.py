"""How far measured rates stray by themselves, and how long one must look because of it. Pure.

A virtual disk, or a drive that others use too, may give a fifth more or less from pass to pass
while nothing is wrong. Readings kept so far say how far; where that is much, a rate that is low
once or twice says nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, log, sqrt
from statistics import NormalDist, median, median_low

from arraygauge.inventory.values import Array
from arraygauge.judge.baseline import SPREAD_FLOOR, Baseline, Learning
from arraygauge.judge.change import CORRELATED
from arraygauge.judge.drift import Watched
from arraygauge.judge.robust import mad
from arraygauge.judge.values import Status

BY_CHANCE = 1e-5
"""What chance may bring in any one pass: once in eleven years of hourly ones, for one subject."""
OF_TWO = sqrt(2.0) * CORRELATED
"""Spreads in a standard deviation of one rate over another; widened for noise that lasts from one
pass to the next, which makes rows of low passes more frequent (tested by simulation)."""
MAD_ERROR = 1.17
"""Standard error of a MAD of n normal values, in their deviation over the root of n (it has
37 % of the efficiency of the standard deviation: Rousseeuw and Croux, Journal of the American
Statistical Association 1993; from memory)."""


def strays_of(status: Status, watched: Iterable[Watched]) -> dict[str, float]:
    """How far readings of each array and member stray, as a relative spread, by name; without
    those of whom, and of whose fellows, nothing is known yet.

    A subject's own readings tell once they were learned as usual; before, a fault would hide
    among them, and the median of all members of its array tells instead.
    """
    spreads = _spreads(watched)
    ids = {each.name: each.stable_id for each in status.host.devices}
    ids |= {each.name: each.stable_id for each in status.host.arrays}
    strays: dict[str, float] = {}
    for verdict in status.arrays:
        names = _serving(verdict.array)
        seen = [spreads[ids[name]] for name in names if ids.get(name) in spreads]
        common = median_low(spread for spread, _ in seen) if seen else 0.0
        for name in (*names, verdict.array.name):
            spread, learned = spreads.get(ids.get(name, ""), (0.0, False))
            known = max(strays.get(name, 0.0), common, spread if learned else 0.0)
            strays |= {name: known} if known else {}
    return strays


def looks_needed(share: float, limit: float, stray: float) -> int:
    """In how many passes in a row a rate must be below ``limit`` of the expected, so that chance
    brings that as seldom as ``BY_CHANCE``; one where it hardly brings such a ``share`` at all."""
    chance = NormalDist(1.0, OF_TWO * stray)
    if chance.cdf(share) <= BY_CHANCE:
        return 1
    return ceil(log(BY_CHANCE) / log(chance.cdf(limit)))


def _serving(array: Array) -> list[str]:
    return [member.name for member in array.members if member.serving]


def _spreads(watched: Iterable[Watched]) -> dict[str, tuple[float, bool]]:
    """By stable id: the spread, and whether it was learned as usual. Of several ways in which
    one subject is measured, of that which was last."""
    latest: dict[str, Watched] = {}
    for each in watched:
        before = latest.get(each.usual.key.stable_id)
        if before is None or each.state.unusable < before.state.unusable:
            latest[each.usual.key.stable_id] = each
    found = {stable_id: _spread(each.usual) for stable_id, each in latest.items()}
    return {
        stable_id: (spread, isinstance(latest[stable_id].usual, Baseline))
        for stable_id, spread in found.items()
        if spread is not None
    }


def _spread(usual: Learning | Baseline) -> float | None:
    """Of few readings as wide as it may be: two standard errors more."""
    if isinstance(usual, Baseline):
        return usual.spread
    rates = [reading.bytes_per_second for reading in usual.readings]
    if len(rates) < 2:
        return None
    widest = 1 + 2 * MAD_ERROR / sqrt(len(rates))
    return max(SPREAD_FLOOR, widest * mad(rates) / median(rates))
