"""One probing: bursts at random places until the rate is known well enough.

Bytes are spent only on doubt: after each burst the confidence interval of the median
is looked at, and reading ends when it is narrow enough or the limits are reached. Between
bursts, and before the first, the agent looks whether others work, and waits.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from random import Random
from statistics import median

from arraygauge.probe.centre import FEWEST_FOR_INTERVAL, Centre, centre_of
from arraygauge.probe.lookout import CounterLookout
from arraygauge.probe.places import spread_extents
from arraygauge.probe.plan import ProbePlan, SamplingLimits
from arraygauge.probe.runner import Prober
from arraygauge.probe.values import (
    Attempt,
    Burst,
    LatencyQuantiles,
    Measurement,
    Outcome,
    PlaceRate,
    ProbeRequest,
    Skipped,
    SkipReason,
)

LONGER_QUIET = 4.0
_FINISHED = (Outcome.COMPLETED, Outcome.BUDGET_SPENT)


@dataclass(slots=True)
class Sampler:
    """Probes devices by plan; ``chance`` chooses the places."""

    prober: Prober
    chance: Random = field(default_factory=Random)

    def measure(self, plan: ProbePlan, limits: SamplingLimits) -> Attempt:
        """Read as planned. Whatever the device does is an outcome, never an exception.

        Skipped when others work all the time that ``limits`` lets it wait; given up when they
        come so often that a quiet as long as it takes by then would pass that time.
        """
        session = _Session(plan, limits, time.time())
        with CounterLookout(plan.watch, while_syncing=limits.while_syncing) as lookout:
            waited_until = time.monotonic() + limits.patience_seconds
            busy: str | None = None
            while (request := session.next_request(self.chance)) is not None:
                quiet_at = time.monotonic() + session.quiet_seconds
                if session.was_cut_short and quiet_at > waited_until:
                    return session.gave_up(busy)
                busy = lookout.quiet_for(session.quiet_seconds, self.prober.stop)
                if busy is not None and not limits.even_if_busy:
                    if time.monotonic() < waited_until and not self.prober.stop.is_set():
                        continue
                    return session.gave_up(busy)
                lookout.begin()
                watching = None if limits.even_if_busy else lookout
                session.take(self.prober.run(request, watching), request)
        return session.measurement()


class _Session:
    """What the bursts of one probing have given so far."""

    def __init__(self, plan: ProbePlan, limits: SamplingLimits, started_at_seconds: float) -> None:
        self._plan, self._limits = plan, limits
        self._started_at_seconds = started_at_seconds
        self._bursts: list[Burst] = []
        self._places: list[PlaceRate] = []
        self._empty: list[PlaceRate] = []
        self._cut_short = 0

    def next_request(self, chance: Random) -> ProbeRequest | None:
        """The next burst; None when enough is known, or nothing more may or can be."""
        plan, limits, workload = self._plan, self._limits, self._plan.workload
        bytes_left = limits.max_bytes * plan.share_count - self._bytes_read
        # With fewer, all that is read at a place is the queue that fills and drains.
        least = 2 * workload.queue_depth * workload.transfer_bytes * limits.places
        if self._is_over() or bytes_left < least:
            return None
        extents = spread_extents(
            plan.size_bytes, plan.workload.transfer_bytes, limits.places, chance, plan.stripe_bytes
        )
        longest = limits.longest_burst_seconds
        return ProbeRequest(
            device=plan.device,
            route=plan.route,
            path=plan.path,
            number=plan.number,
            workload=plan.workload,
            extents=extents,
            warm_up_seconds=limits.warm_up_seconds,
            settle_seconds=limits.settle_seconds,
            place_seconds=limits.place_seconds,
            longest_seconds=longest,
            in_flight_seconds=plan.in_flight_seconds,
            max_bytes=min(bytes_left, limits.burst_bytes * plan.share_count),
            deadline_seconds=longest + limits.grace_seconds,
            temperature_file=plan.temperature_file,
            hottest_celsius=plan.hottest_celsius,
        )

    def take(self, burst: Burst, request: ProbeRequest) -> None:
        self._bursts.append(burst)
        # Where work of others cut it short, the last place was read in their company.
        gave_way = burst.outcome is Outcome.GAVE_WAY
        self._cut_short += gave_way
        kept = burst.places[:-1] if gave_way else burst.places
        for place in kept:
            empty = place.empty and self._plan.zeros_mean_nothing_stored
            (self._empty if empty else self._places).append(place)

    @property
    def was_cut_short(self) -> bool:
        """Whether others came to work in the midst of a burst."""
        return self._cut_short > 0

    @property
    def quiet_seconds(self) -> float:
        """Whoever came to work in the midst of a burst pauses for moments only: next time
        the quiet must have lasted longer."""
        return self._limits.quiet_seconds * LONGER_QUIET**self._cut_short

    @property
    def _bytes_read(self) -> int:
        return sum(burst.bytes_read for burst in self._bursts)

    @property
    def _seconds(self) -> float:
        return sum(burst.seconds for burst in self._bursts)

    def _centre(self) -> Centre | None:
        points = [
            (place.start_bytes / self._plan.size_bytes, place.bytes_per_second)
            for place in self._places
            if place.seconds
        ]
        return centre_of(points, may_slope=self._plan.may_slope)

    def _is_over(self) -> bool:
        if not self._bursts:
            return False
        last = self._bursts[-1].outcome
        if last not in (*_FINISHED, Outcome.GAVE_WAY):
            return True
        centre = self._centre()
        known = centre.uncertainty if centre is not None else None
        enough = known is not None and known <= self._limits.interval_half_width
        return enough or self._seconds >= self._limits.max_seconds or self._is_hopeless()

    def _is_hopeless(self) -> bool:
        """Nothing but empty places, or none that gave a rate, in two bursts."""
        return len(self._bursts) >= 2 and not self._places and not self._cut_short

    def gave_up(self, busy: str | None) -> Attempt:
        """Others work on, or come again and again, as the last burst says: what there is, marked
        as cut short, or nothing at all."""
        who = f"{self._plan.device}: {busy}" if busy else f"{self._bursts[-1].detail}, once more"
        detail = f"{who}; measuring would disturb that, and be wrong; it is tried again later"
        if not self._bursts:
            return Skipped(
                device=self._plan.device, reason=SkipReason.OTHERS_AT_WORK, detail=detail
            )
        return replace(self.measurement(), outcome=Outcome.GAVE_WAY, detail=detail)

    def measurement(self) -> Measurement:
        plan, last = self._plan, self._bursts[-1] if self._bursts else None
        centre = self._centre()
        return Measurement(
            device=plan.device,
            route=plan.route,
            path=plan.path,
            workload=plan.workload,
            outcome=self._outcome(centre),
            detail=self._detail(),
            started_at_seconds=self._started_at_seconds,
            seconds=self._seconds,
            bursts=len(self._bursts),
            bytes_read=self._bytes_read,
            bytes_per_second=centre.rate if centre else None,
            low_bytes_per_second=centre.low if centre else None,
            high_bytes_per_second=centre.high if centre else None,
            slope=centre.slope if centre else None,
            latency=_together([burst.latency for burst in self._bursts if burst.latency]),
            places=tuple(self._places),
            set_aside=tuple(self._empty),
            temperature_celsius=last.temperature_celsius if last else None,
            slowest_link=plan.slowest_link,
        )

    def _outcome(self, centre: Centre | None) -> Outcome:
        last = self._bursts[-1].outcome if self._bursts else Outcome.BUDGET_SPENT
        if last not in (*_FINISHED, Outcome.GAVE_WAY):
            return last
        if centre is None and self._cut_short:
            return Outcome.GAVE_WAY
        if centre is None and len(self._empty) >= FEWEST_FOR_INTERVAL:
            return Outcome.NOTHING_STORED
        known = centre.uncertainty if centre is not None else None
        narrow = known is not None and known <= self._limits.interval_half_width
        return Outcome.COMPLETED if narrow else Outcome.BUDGET_SPENT

    def _detail(self) -> str | None:
        last = self._bursts[-1] if self._bursts else None
        if last is not None and last.detail is not None and last.outcome is not Outcome.GAVE_WAY:
            return last.detail
        if self._empty and not self._places:
            what = (
                f"{self._plan.device}: all {len(self._empty)} places that were read hold zeros, "
                "which a solid-state drive answers without reading flash: that is no rate of "
                "the drive"
            )
            # A few tell of themselves only: a filesystem's own tables may be blank.
            few = len(self._empty) < FEWEST_FOR_INTERVAL
            return what if few else f"{what}; store something on it first"
        if last is None:
            return f"{self._plan.device}: the bytes it may be asked for are too few to measure it"
        return None


def _together(quantiles: Sequence[LatencyQuantiles]) -> LatencyQuantiles | None:
    """Of several bursts: the middle one's quantiles, and the longest of all."""
    if not quantiles:
        return None
    return LatencyQuantiles(
        median=median(each.median for each in quantiles),
        p90=median(each.p90 for each in quantiles),
        p99=median(each.p99 for each in quantiles),
        maximum=max(each.maximum for each in quantiles),
    )
