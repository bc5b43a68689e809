"""A prober and a lookout that tests decide on: the drive's rate at each place, who is at work."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from random import Random
from types import TracebackType
from typing import ClassVar, cast

from arraygauge.probe.plan import ProbePlan, SamplingLimits, plan_device
from arraygauge.probe.process import Lookout
from arraygauge.probe.runner import Prober
from arraygauge.probe.sampling import Sampler
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import (
    Attempt,
    Burst,
    LatencyQuantiles,
    Measurement,
    Outcome,
    PlaceRate,
    ProbeRequest,
)
from arraygauge.probe.watch import Watch
from invented import drive, host

LIMITS = SamplingLimits(quiet_seconds=0.0)
PATIENT = replace(LIMITS, patience_seconds=15.0)
NEVER = StopToken()
RateAt = Callable[[float], float]
"""Bytes per second by the place as a fraction of the device."""


@dataclass(kw_only=True)
class FakeDrive:
    """Answers as a prober would; ``endings`` are the outcomes of its first bursts."""

    rate_at: RateAt = lambda _: 200e6
    zero_at: Callable[[float], bool] = lambda _: False
    endings: list[Outcome] = field(default_factory=list)
    places_before_end: int = 2
    stop: StopToken = NEVER
    requests: list[ProbeRequest] = field(default_factory=list)
    bytes_read: list[int] = field(default_factory=list)
    lookouts: list[Lookout | None] = field(default_factory=list)
    size_bytes: int = 100 << 30

    def run(self, request: ProbeRequest, lookout: Lookout | None = None) -> Burst:
        self.requests.append(request)
        self.lookouts.append(lookout)
        ending = self.endings.pop(0) if self.endings else Outcome.COMPLETED
        cut = None if ending is Outcome.COMPLETED else self.places_before_end
        places = tuple(self.place(extent.start_bytes) for extent in request.extents)[:cut]
        read = min(sum(place.bytes_read for place in places), request.max_bytes)
        self.bytes_read.append(read)
        return Burst(
            outcome=ending,
            detail=None if ending is Outcome.COMPLETED else f"sda: {ending}",
            started_at_seconds=0.0,
            seconds=0.3 + 0.13 * len(places),
            bytes_read=read,
            places=places,
            latency=LatencyQuantiles(
                median=0.001 * len(self.requests), p90=0.002, p99=0.003, maximum=0.004
            ),
            temperature_celsius=30.0 + len(self.requests),
        )

    def place(self, start: int) -> PlaceRate:
        where = start / self.size_bytes
        size = round(self.rate_at(where) * 0.1)
        zeros = size if self.zero_at(where) else 0
        return PlaceRate(start_bytes=start, bytes_read=size, seconds=0.1, zero_bytes=zeros)


class FakeLookout:
    """Says who is at work before each burst, in turn; nobody when the words run out."""

    said: Sequence[str | None] = ()
    waited: ClassVar[list[float]] = []
    interval_seconds = 0.004

    def __init__(self, watch: Watch, *, while_syncing: bool = False) -> None:
        self.words = list(self.said)
        self.waited.clear()

    def __enter__(self) -> FakeLookout:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        pass

    def begin(self) -> None:
        pass

    def quiet_for(self, seconds: float, stop: StopToken) -> str | None:
        time.sleep(0.002)
        self.waited.append(seconds)
        return self.words.pop(0) if self.words else None


def noisy(share: float, seed: int = 3) -> RateAt:
    chance = Random(seed)
    return lambda _: 200e6 * (1 + share * chance.uniform(-1, 1))


def plan(*, rotational: bool | None = False, **changes: object) -> ProbePlan:
    device = drive("sda", rotational=rotational)
    planned = plan_device(host(drives=[device]), device, LIMITS)
    assert isinstance(planned, ProbePlan)
    return replace(planned, **changes)  # type: ignore[arg-type]


def attempt(
    fake: FakeDrive, limits: SamplingLimits = LIMITS, of: ProbePlan | None = None, seed: int = 1
) -> Attempt:
    sampler = Sampler(cast(Prober, fake), Random(seed))
    return sampler.measure(of or plan(), limits)


def measured(
    fake: FakeDrive, limits: SamplingLimits = LIMITS, of: ProbePlan | None = None, seed: int = 1
) -> Measurement:
    made = attempt(fake, limits, of, seed)
    assert isinstance(made, Measurement)
    return made
