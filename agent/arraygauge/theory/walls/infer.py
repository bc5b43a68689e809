"""Finding the wall: which members share a ceiling, and what it is, from what they read.

A *wall* is a limit on what several members carry together: a link the kernel does
not show, a controller, a hub. It is seen only where it binds: members that reach their
solo rate when all run together are behind no wall that matters, and no claim is made
of walls that more members than these would be needed to reach.

How: all members are read together once. Those that stay clearly below their solo
rate are behind some wall. Then runs that leave some members out tell which: whoever
speeds up shared a wall with those left out, and whoever does not did not. The capacity
of a wall is what its members carry when they run without the others. See ``wall_search``
for the steps and what they assume. Runs are asked for one at a time: the caller reads
``next_run``, adds its rates and asks again, until ``next_run`` is None.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from arraygauge.theory.walls.readings import Reading, mean_reading
from arraygauge.theory.walls.search import WallSearch
from arraygauge.theory.walls.values import Wall
from arraygauge.values import frozen

USUAL_NOISE = 0.03
"""Half-width in which the rate of one member repeats: common practice puts SSDs of one
model within 3 % of each other, no published source."""

_WIDEST_OVER_MET = 1.5
"""Chosen by simulation: where rates vary by twice the stated noise, fewer than half of the
false walls remain. It is not asked where they keep within the stated noise."""


@frozen
class Run:
    """Members read at the same time, each with its own bytes per second during it."""

    rates: Mapping[str, float]


@frozen
class Inference:
    """What the runs so far show.

    ``walls``, the widest first; a wall may lie within another. ``unresolved`` are
    members that are slowed by something not told yet, or whose own traffic is too
    small beside a wall to say on which side of it they are. ``next_run`` says which
    members to read together next (a run asked for again is averaged with the first);
    None when more runs would not help.
    """

    walls: tuple[Wall, ...]
    unresolved: frozenset[str]
    next_run: frozenset[str] | None


def infer_walls(
    solo: Mapping[str, float], runs: Sequence[Run], noise: float = USUAL_NOISE
) -> Inference:
    """The walls that ``runs`` show, given each member's rate alone, in bytes per second.

    ``noise`` is the half-width, as a share, within which nearly every reading of one
    rate repeats (two to three standard deviations, not one); it is widened where a
    member comes out faster in company than alone by more. Runs that were not asked for
    are used where they help. Raises ValueError for rates that are not positive alone, for
    members without a solo rate, and for noise outside 0 to 0.2.
    """
    _require_sound(solo, runs, noise)
    readings = _by_members(solo, runs)
    search = WallSearch(solo, _noise_to_expect(solo, runs, noise))
    steps = search.steps()
    wanted: frozenset[str] | None
    try:
        request = next(steps)
        while (reading := readings.get(request.members)) and reading.count >= request.times:
            request = steps.send(reading)
        wanted = request.members
    except StopIteration:
        wanted = None
    return Inference(walls=search.walls(), unresolved=search.unresolved(), next_run=wanted)


def run_cost(members: Iterable[str], solo: Mapping[str, float], seconds_ratio: float) -> float:
    """At most how many bytes a run of ``members`` reads, as a share of the solo pass.

    ``seconds_ratio`` is the run's duration over that of each member's solo reading.
    No member runs faster than alone, so a run behind a wall costs less.
    """
    return seconds_ratio * sum(solo[name] for name in members) / sum(solo.values())


def _noise_to_expect(solo: Mapping[str, float], runs: Sequence[Run], stated: float) -> float:
    """No member is faster in company than alone. Where one comes out so, noise lifted one
    reading and lowered the other, and what was met is rarely the widest there is."""
    highest = max((run.rates[name] / solo[name] for run in runs for name in run.rates), default=1.0)
    met = (highest - 1) / (highest + 1)
    return stated if met <= stated * (1 + 1e-9) else _WIDEST_OVER_MET * met


def _by_members(solo: Mapping[str, float], runs: Sequence[Run]) -> dict[frozenset[str], Reading]:
    together: dict[frozenset[str], list[Mapping[str, float]]] = {
        frozenset({name}): [{name: rate}] for name, rate in solo.items()
    }
    for run in runs:
        together.setdefault(frozenset(run.rates), []).append(run.rates)
    return {members: mean_reading(rates) for members, rates in together.items()}


def _require_sound(solo: Mapping[str, float], runs: Sequence[Run], noise: float) -> None:
    unknown = {name for run in runs for name in run.rates} - set(solo)
    if unknown:
        raise ValueError(f"no solo rate for {', '.join(sorted(unknown))}")
    if any(rate <= 0 for rate in solo.values()):
        raise ValueError("a member that reads nothing alone cannot be behind a wall")
    if not 0 < noise <= 0.2:
        raise ValueError(f"noise of {noise} is not a share from above 0 to 0.2")
