"""The runs of a search for walls: what each asks of its members, and what theory makes of them.

Runs last as long as ``wall_pace`` says, so that all together they cost no more than the solo
readings did. What a run's rates are, ``settled`` says. A run whose rates do not repeat well is
made again, and where they never do, theory is told of more noise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from random import Random
from statistics import fmean

from arraygauge.probe.plan import ProbePlan
from arraygauge.probe.settled import Settled, settled_rates
from arraygauge.probe.values import Burst, Extent, Measurement, Outcome, ProbeRequest
from arraygauge.probe.wall_pace import (
    FASTER_IN_FEWER,
    LONGEST_SECONDS,
    in_flight_bytes,
    run_seconds,
    transfer_bytes,
)
from arraygauge.theory.walls import Inference, Run, Wall, infer_walls
from arraygauge.values import frozen

WARM_UP_SHARE = 0.25
"""After that part of a run a slow drive is left with fewer transfers in flight."""
GRACE_SECONDS = 8.0
LEAST_NOISE, MOST_NOISE = 0.03, 0.2
"""Half-width in which a rate repeats; a short reading at one place repeats no better than
the first, and beyond the second no wall can be told from chance."""
DEVIATIONS_IN_NOISE = 2.0
WORTH_REPEATING = 0.03
REPEATS = 2
"""How often in all the same members are read because their rates did not repeat well."""
MOST_USELESS = 2
"""Runs that said nothing, by chance or because drives are like that, before the search ends."""
MOST_RUNS = 24
MOST_SECONDS = MOST_RUNS * LONGEST_SECONDS

_FINISHED = (Outcome.COMPLETED, Outcome.BUDGET_SPENT)


@frozen
class WallReport:
    """What reading members together showed.

    ``alone`` and each run's rates are bytes per second by device; ``noise`` is the half-width, as
    a share, within which they were taken to repeat. ``bytes_by_device`` counts
    the runs together, without the solo readings. ``ended_early`` says why the search stopped
    before it was done; the walls found until then stand.
    """

    alone: Mapping[str, float]
    runs: tuple[Run, ...]
    walls: tuple[Wall, ...]
    unresolved: frozenset[str]
    noise: float
    bytes_by_device: Mapping[str, int]
    seconds: float
    ended_early: str | None

    @property
    def bytes_read(self) -> int:
        return sum(self.bytes_by_device.values())


class WallRuns:
    """The runs so far, and what theory makes of them."""

    def __init__(
        self,
        plans: Mapping[str, ProbePlan],
        solo: Mapping[str, Measurement],
        max_bytes: int | None,
    ) -> None:
        self._solo = solo
        self._alone = {name: measured.bytes_per_second or 0.0 for name, measured in solo.items()}
        self._plans = {
            name: _with_smaller_transfers(plans[name], self._alone[name]) for name in solo
        }
        spent = sum(measured.bytes_read for measured in solo.values())
        self._bytes_left = spent if max_bytes is None else max_bytes
        self._runs: list[Settled] = []
        self._read = dict.fromkeys(solo, 0)
        self._seconds = 0.0
        self._useless = 0
        self._ended_early: str | None = None

    @property
    def _noise(self) -> float:
        """How uncertain the solo rates are, or those of the runs, all of them taken together."""
        solo = [measured.uncertainty or 0.0 for measured in self._solo.values()]
        runs = [
            DEVIATIONS_IN_NOISE * run.imprecision / sqrt(self._count(frozenset(run.rates)))
            for run in self._runs
        ]
        return min(max(_root_mean_square(solo), _root_mean_square(runs), LEAST_NOISE), MOST_NOISE)

    def _count(self, members: frozenset[str]) -> int:
        return sum(members == run.rates.keys() for run in self._runs)

    def _inference(self) -> Inference:
        return infer_walls(self._alone, [Run(rates=run.rates) for run in self._runs], self._noise)

    def wanted(self) -> frozenset[str] | None:
        """Whom to read together next; None when enough is known or may be spent."""
        if self._ended_early is not None:
            return None
        members = self._to_repeat() or self._inference().next_run
        if members is None:
            return None
        if len(self._runs) >= MOST_RUNS:
            self._ended_early = f"{MOST_RUNS} runs did not settle it"
            return None
        if self._cost(members) > self._bytes_left:
            self._ended_early = "another run would read more than the members' own measuring did"
            return None
        return members

    def _to_repeat(self) -> frozenset[str] | None:
        """The members read last, where their rates did not repeat well and bytes are left."""
        if not self._runs or self._runs[-1].imprecision <= WORTH_REPEATING:
            return None
        members = frozenset(self._runs[-1].rates)
        again = self._count(members) < REPEATS and 2 * self._cost(members) < self._bytes_left
        return members if again else None

    def _expected(self, members: frozenset[str]) -> dict[str, float]:
        """Rates they are likely to have: fewer than before may be faster, up to alone."""
        seen = {name: rate for run in self._runs for name, rate in run.rates.items()}
        return {
            name: min(FASTER_IN_FEWER * seen.get(name, self._alone[name]), self._alone[name])
            for name in members
        }

    def _length(self, members: frozenset[str]) -> float:
        transfers = {name: self._plans[name].workload.transfer_bytes for name in members}
        return run_seconds(self._expected(members), transfers, self._bytes_left)

    def _cost(self, members: frozenset[str]) -> float:
        queues = sum(in_flight_bytes(self._plans[name].workload) for name in members)
        return self._length(members) * sum(self._expected(members).values()) + queues

    def requests(self, members: frozenset[str], chance: Random) -> list[ProbeRequest]:
        """One for each of them, for the same time."""
        seconds = self._length(members)
        self._seconds += seconds
        return [self._request(name, seconds, chance) for name in sorted(members)]

    def _request(self, name: str, seconds: float, chance: Random) -> ProbeRequest:
        plan = self._plans[name]
        transfer = plan.workload.transfer_bytes
        start = self._start(name, chance) // transfer * transfer
        length = (plan.size_bytes - start) // transfer * transfer
        most = 1.5 * seconds * self._alone[name] + 2 * in_flight_bytes(plan.workload)
        return ProbeRequest(
            device=plan.device,
            route=plan.route,
            path=plan.path,
            number=plan.number,
            workload=plan.workload,
            extents=(Extent(start_bytes=start, length_bytes=length),),
            warm_up_seconds=WARM_UP_SHARE * seconds,
            settle_seconds=0.0,
            place_seconds=(1 - WARM_UP_SHARE) * seconds,
            longest_seconds=seconds,
            in_flight_seconds=plan.in_flight_seconds,
            max_bytes=round(most),
            deadline_seconds=seconds + GRACE_SECONDS,
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

    def take(self, members: frozenset[str], outcome: dict[str, Burst] | str) -> None:
        if isinstance(outcome, str):
            self._ended_early = f"{outcome}; reading together would disturb that"
            return
        self.spend(outcome)
        failed = sorted(name for name in members if outcome[name].outcome not in _FINISHED)
        if failed:
            details = "; ".join(outcome[name].detail or outcome[name].outcome for name in failed)
            self._ended_early = f"{', '.join(failed)} could not be read with the others ({details})"
            return
        settled = settled_rates({name: burst.progress for name, burst in outcome.items()})
        useless = self._why_useless(settled)
        if settled is not None and useless is None:
            self._runs.append(settled)
            return
        self._useless += 1
        if self._useless == MOST_USELESS:
            self._ended_early = useless

    def _why_useless(self, settled: Settled | None) -> str | None:
        """Why a run says nothing of walls; None for one that does."""
        if settled is None:
            return "one of the drives gave too little in company to tell its rate"
        # By more than any noise explains.
        faster = [
            name
            for name, rate in settled.rates.items()
            if rate > (1 + MOST_NOISE) * self._alone[name]
        ]
        if not faster:
            return None
        words = f"{', '.join(sorted(faster))} read faster in company than alone"
        return f"{words}: a cache answered, and hides what they share"

    def spend(self, outcome: dict[str, Burst]) -> None:
        for name, burst in outcome.items():
            self._read[name] += burst.bytes_read
            self._bytes_left -= burst.bytes_read

    def report(self) -> WallReport:
        inference = self._inference()
        return WallReport(
            alone=self._alone,
            runs=tuple(Run(rates=run.rates) for run in self._runs),
            walls=inference.walls,
            unresolved=inference.unresolved,
            noise=self._noise,
            bytes_by_device=self._read,
            seconds=self._seconds,
            ended_early=self._ended_early,
        )


def _root_mean_square(shares: list[float]) -> float:
    return sqrt(fmean(share**2 for share in shares)) if shares else 0.0


def _with_smaller_transfers(plan: ProbePlan, alone: float) -> ProbePlan:
    size = transfer_bytes(plan.workload.transfer_bytes, alone)
    return replace(plan, workload=replace(plan.workload, transfer_bytes=size))
