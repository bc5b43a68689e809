"""Driving the wall finder: members alone, then together, with as few bytes as it allows.

Theory says which members to read together next (``infer_walls``); here they are read, while
nobody else works.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from random import Random

from arraygauge.probe.lookout import CounterLookout
from arraygauge.probe.plan import ProbePlan
from arraygauge.probe.runner import Prober
from arraygauge.probe.together import read_together
from arraygauge.probe.values import Burst, Measurement, Outcome
from arraygauge.probe.wall_runs import WallReport, WallRuns

QUIET_SECONDS = 0.25
TRIES = 3


@dataclass(slots=True)
class WallFinder:
    """Finds the walls among devices that were measured alone just now."""

    prober: Prober
    chance: Random = field(default_factory=Random)
    even_if_busy: bool = False

    def find(
        self,
        plans: Mapping[str, ProbePlan],
        solo: Mapping[str, Measurement],
        max_bytes: int | None = None,
    ) -> WallReport:
        """Read until theory knows enough. All of ``solo`` must be usable and in ``plans``.

        The runs read at most ``max_bytes``: where None, what the solo readings took.
        """
        search = WallRuns(plans, solo, max_bytes)
        with ExitStack() as stack:
            # Members that share a link are each other's neighbours, and all are read here.
            watches = {name: replace(plans[name].watch, neighbours=()) for name in solo}
            lookouts = {
                name: stack.enter_context(CounterLookout(watch)) for name, watch in watches.items()
            }
            while (members := search.wanted()) is not None:
                watching = {} if self.even_if_busy else {name: lookouts[name] for name in members}
                search.take(members, self._patiently(search, members, watching))
        return search.report()

    def _patiently(
        self, search: WallRuns, members: frozenset[str], lookouts: Mapping[str, CounterLookout]
    ) -> dict[str, Burst] | str:
        """A run that others' work cut short is tried again, a few times."""
        for _ in range(TRIES - 1):
            outcome = self._run(search, members, lookouts)
            cut_short = isinstance(outcome, str) or any(
                burst.outcome is Outcome.GAVE_WAY for burst in outcome.values()
            )
            if not cut_short or self.prober.stop.is_set():
                return outcome
            if not isinstance(outcome, str):
                search.spend(outcome)
        return self._run(search, members, lookouts)

    def _run(
        self, search: WallRuns, members: frozenset[str], lookouts: Mapping[str, CounterLookout]
    ) -> dict[str, Burst] | str:
        """One run; words where others work."""
        for lookout in lookouts.values():
            busy = lookout.quiet_for(QUIET_SECONDS / len(lookouts), self.prober.stop)
            if busy is not None:
                return busy
        for lookout in lookouts.values():
            lookout.begin()
        return read_together(self.prober, search.requests(members, self.chance), lookouts)
