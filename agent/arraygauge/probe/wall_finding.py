"""Driving the wall finder: members alone, then together, with as few bytes as it allows.

Theory says which members to read together next (``infer_walls``); here they are read, for
a fraction of the time that each was read alone, so that all runs together cost no more
than the solo readings did.
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
from arraygauge.probe.values import Burst, Extent, Measurement, Outcome, ProbeRequest
from arraygauge.theory.walls import Inference, Run, Wall, infer_walls

WARM_UP_SECONDS, COUNTED_SECONDS, LINGER_SECONDS = 0.3, 0.2, 0.05
RUN_SECONDS = WARM_UP_SECONDS + COUNTED_SECONDS + LINGER_SECONDS
RUNS_IN_A_PASS = 4
"""A run reads at most this part of what the solo readings did: on fast drives it is shorter."""
SHORTEST_SHARE = 0.1
"""Of the usual time: still tens of milliseconds, hundreds of transfers of a fast drive."""
GRACE_SECONDS = 8.0
LEAST_NOISE, MOST_NOISE = 0.03, 0.2
"""Half-width in which a rate repeats; a short reading at one place repeats no better than
the first, and beyond the second no wall can be told from chance."""
QUIET_SECONDS = 0.25
MOST_RUNS = 24
TRIES = 3
MOST_SECONDS = MOST_RUNS * RUN_SECONDS

_FINISHED = (Outcome.COMPLETED, Outcome.BUDGET_SPENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class WallReport:
    """What reading members together showed.

    ``alone`` and each run's rates are bytes per second by device. ``bytes_by_device`` counts
    the runs together, without the solo readings. ``ended_early`` says why the search stopped
    before it was done; the walls found until then stand.
    """

    alone: Mapping[str, float]
    runs: tuple[Run, ...]
    walls: tuple[Wall, ...]
    unresolved: frozenset[str]
    bytes_by_device: Mapping[str, int]
    seconds: float
    ended_early: str | None

    @property
    def bytes_read(self) -> int:
        return sum(self.bytes_by_device.values())


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
        search = _Search(plans, solo, max_bytes)
        with ExitStack() as stack:
            # Members that share a link are each other's neighbours, and all are read here.
            watches = {name: replace(plans[name].watch, neighbours=()) for name in solo}
            lookouts = {
                name: stack.enter_context(CounterLookout(watch)) for name, watch in watches.items()
            }
            while (members := search.wanted()) is not None:
                watching = {} if self.even_if_busy else {name: lookouts[name] for name in members}
                search.take(self._patiently(search, members, watching))
        return search.report()

    def _patiently(
        self, search: _Search, members: frozenset[str], lookouts: Mapping[str, CounterLookout]
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
        self, search: _Search, members: frozenset[str], lookouts: Mapping[str, CounterLookout]
    ) -> dict[str, Burst] | str:
        """One run; words where others work."""
        for lookout in lookouts.values():
            busy = lookout.quiet_for(QUIET_SECONDS / len(lookouts), self.prober.stop)
            if busy is not None:
                return busy
        for lookout in lookouts.values():
            lookout.begin()
        requests = [search.request(name, self.chance) for name in sorted(members)]
        return read_together(self.prober, requests, lookouts)


class _Search:
    """The runs so far, and what theory makes of them."""

    def __init__(
        self,
        plans: Mapping[str, ProbePlan],
        solo: Mapping[str, Measurement],
        max_bytes: int | None,
    ) -> None:
        self._plans, self._solo = plans, solo
        self._alone = {name: measured.bytes_per_second or 0.0 for name, measured in solo.items()}
        spent = sum(measured.bytes_read for measured in solo.values())
        self._bytes_left = spent if max_bytes is None else max_bytes
        usual = RUNS_IN_A_PASS * RUN_SECONDS * sum(self._alone.values())
        self._share = min(max(spent / usual, SHORTEST_SHARE), 1.0)
        self._runs: list[Run] = []
        self._read = dict.fromkeys(solo, 0)
        self._ended_early: str | None = None

    @property
    def _noise(self) -> float:
        widest = max((measured.uncertainty or 0.0 for measured in self._solo.values()), default=0.0)
        return min(max(widest, LEAST_NOISE), MOST_NOISE)

    def _inference(self) -> Inference:
        return infer_walls(self._alone, self._runs, self._noise)

    def wanted(self) -> frozenset[str] | None:
        """Whom to read together next; None when enough is known or may be spent."""
        if self._ended_early is not None:
            return None
        members = self._inference().next_run
        if members is None:
            return None
        if len(self._runs) >= MOST_RUNS:
            self._ended_early = f"{MOST_RUNS} runs did not settle it"
            return None
        if self._cost(members) > self._bytes_left:
            self._ended_early = "another run would read more than the members' own measuring did"
            return None
        return members

    def _cost(self, members: frozenset[str]) -> float:
        """Bytes the run is likely to read: as before, or less than alone."""
        seen = {name: rate for run in self._runs for name, rate in run.rates.items()}
        rates = [
            min(1.05 * seen.get(name, self._alone[name]), self._alone[name]) for name in members
        ]
        return self._share * RUN_SECONDS * sum(rates)

    def request(self, name: str, chance: Random) -> ProbeRequest:
        plan = self._plans[name]
        transfer = plan.workload.transfer_bytes
        start = self._start(name, chance) // transfer * transfer
        length = (plan.size_bytes - start) // transfer * transfer
        return ProbeRequest(
            device=plan.device,
            route=plan.route,
            path=plan.path,
            number=plan.number,
            workload=plan.workload,
            extents=(Extent(start_bytes=start, length_bytes=length),),
            warm_up_seconds=self._share * WARM_UP_SECONDS,
            settle_seconds=0.0,
            place_seconds=self._share * COUNTED_SECONDS,
            linger_seconds=self._share * LINGER_SECONDS,
            longest_seconds=RUN_SECONDS,
            max_bytes=round(1.5 * self._share * RUN_SECONDS * self._alone[name]) + 16 * transfer,
            deadline_seconds=RUN_SECONDS + GRACE_SECONDS,
            temperature_file=plan.temperature_file,
            hottest_celsius=plan.hottest_celsius,
        )

    def _start(self, name: str, chance: Random) -> int:
        """Near the middle, whose rate the solo reading tells; where parts of the device hold
        nothing, at a place that is known to hold something."""
        measured, size = self._solo[name], self._plans[name].size_bytes
        if measured.set_aside:
            middle = sorted(measured.places, key=lambda place: abs(place.start_bytes - size / 2))
            return middle[0].start_bytes
        return int(size * chance.uniform(0.4, 0.5))

    def take(self, outcome: dict[str, Burst] | str) -> None:
        if isinstance(outcome, str):
            self._ended_early = f"{outcome}; reading together would disturb that"
            return
        self.spend(outcome)
        rates = {
            name: burst.places[0].bytes_per_second
            for name, burst in outcome.items()
            if burst.outcome in _FINISHED and burst.places
        }
        failed = sorted(set(outcome) - set(rates))
        if failed:
            details = "; ".join(outcome[name].detail or outcome[name].outcome for name in failed)
            self._ended_early = f"{', '.join(failed)} could not be read with the others ({details})"
            return
        self._runs.append(Run(rates=rates))

    def spend(self, outcome: dict[str, Burst]) -> None:
        for name, burst in outcome.items():
            self._read[name] += burst.bytes_read
            self._bytes_left -= burst.bytes_read

    def report(self) -> WallReport:
        inference = self._inference()
        return WallReport(
            alone=self._alone,
            runs=tuple(self._runs),
            walls=inference.walls,
            unresolved=inference.unresolved,
            bytes_by_device=self._read,
            seconds=self._share * RUN_SECONDS * len(self._runs),
            ended_early=self._ended_early,
        )
