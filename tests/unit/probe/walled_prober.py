"""A simulated prober: drives that share ceilings, read together through no device at all.

What each carries comes from ``walled_machine``; here it is made into completions: whole
transfers, each up to half of one early or late, after a start of its own, a first gulp that
passes at once, and until the time that was asked for is over.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from random import Random

from arraygauge.probe.plan import ProbePlan
from arraygauge.probe.process import Lookout
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Burst, Measurement, Outcome, ProbeRequest, Route
from arraygauge.probe.watch import Watch
from arraygauge.theory import SEQUENTIAL_READ
from unit.theory.walled_machine import Machine, carried

START_SECONDS = 0.002
TIB = 1 << 40


@dataclass(slots=True)
class WalledProber:
    """``gulp_seconds`` worth of each drive's own rate pass at once as a run begins; ``drift`` is
    how much faster all are at its beginning than at its end, or as much slower."""

    machine: Machine
    seed: int
    stop: StopToken
    gulp_seconds: float = 0.0
    drift: float = 0.0
    spoilt: frozenset[int] = frozenset()
    """Runs, by number, in which a cache answers: half as fast again as alone."""
    requests: list[ProbeRequest] = field(default_factory=list)
    _lock: threading.Condition = field(default_factory=threading.Condition)
    _met: dict[int, set[str]] = field(default_factory=dict)
    _runs: int = 0

    def run(self, request: ProbeRequest, lookout: Lookout | None = None) -> Burst:
        """One drive's part of a run, once all that were asked for have come."""
        assert request.meeting is not None
        count = request.meeting.count
        with self._lock:
            self.requests.append(request)
            run = self._runs
            together = self._met.setdefault(run, set())
            together.add(request.device)
            if len(together) == count:
                self._runs += 1
                self._lock.notify_all()
            assert self._lock.wait_for(lambda: len(together) == count, 5)
            rate = carried(self.machine, frozenset(together))[request.device]
            if run in self.spoilt:
                rate = 1.5 * self.machine.solo[request.device]
        # Of its own, so that it does not matter which thread comes first.
        return self._burst(request, rate, Random(f"{self.seed} {run} {request.device}"))

    def _burst(self, request: ProbeRequest, rate: float, chance: Random) -> Burst:
        size = request.workload.transfer_bytes
        seconds = request.warm_up_seconds + request.place_seconds
        start = chance.uniform(0, START_SECONDS)
        gulp = self.gulp_seconds * self.machine.solo[request.device] // size
        steady = int((seconds - start) * rate / size)
        times = [start] * int(gulp) + [
            start + (turn + chance.uniform(0, 1)) * size / rate for turn in range(steady)
        ]
        bend = 1 + chance.choice((-self.drift, self.drift))
        times = [start + seconds * ((time - start) / seconds) ** bend for time in times]
        progress = tuple((moment, (turn + 1) * size) for turn, moment in enumerate(sorted(times)))
        return Burst(
            outcome=Outcome.COMPLETED,
            detail=None,
            started_at_seconds=0.0,
            seconds=seconds,
            bytes_read=(len(times) + request.workload.queue_depth) * size,
            places=(),
            latency=None,
            temperature_celsius=None,
            progress=progress,
        )


def plan(name: str) -> ProbePlan:
    """A drive of 1 TiB that nobody watches."""
    return ProbePlan(
        device=name,
        route=Route.RAW,
        path=f"/dev/{name}",
        number=(8, 0),
        size_bytes=TIB,
        stripe_bytes=512,
        workload=SEQUENTIAL_READ,
        watch=Watch(carriers=()),
        may_slope=False,
        zeros_mean_nothing_stored=False,
        share_count=1,
        temperature_file=None,
        hottest_celsius=70.0,
        slowest_link=None,
    )


def alone(name: str, rate: float, bytes_read: int) -> Measurement:
    """What the drive gave by itself, within 2 %."""
    return Measurement(
        device=name,
        route=Route.RAW,
        path=f"/dev/{name}",
        workload=SEQUENTIAL_READ,
        outcome=Outcome.COMPLETED,
        detail=None,
        started_at_seconds=0.0,
        seconds=1.0,
        bursts=1,
        bytes_read=bytes_read,
        bytes_per_second=rate,
        low_bytes_per_second=0.98 * rate,
        high_bytes_per_second=1.02 * rate,
        slope=None,
        latency=None,
        places=(),
        set_aside=(),
        temperature_celsius=None,
        slowest_link=None,
    )
