"""Passes over the invented workstation: planned and judged as real ones, probed by pretence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from arraygauge.config import Configuration
from arraygauge.inventory.values import Host
from arraygauge.judge import Grounds, Status, WriteVerdict, assess_write
from arraygauge.probe.budget import Charge
from arraygauge.probe.charges import charges, shares_of
from arraygauge.probe.plan import ProbePlan, SamplingLimits, plan_array, plan_device
from arraygauge.probe.shares import Share
from arraygauge.probe.values import Attempt, Measurement, Skipped
from arraygauge.service.demo.clock import SimulatedClock
from arraygauge.service.demo.machine import as_seen, host_of, states_at
from arraygauge.service.demo.pretending import Pretence
from arraygauge.service.demo.writing import EVERY_DAYS, WRITTEN_ARRAY, WritePretence
from arraygauge.service.grounds import grounds_of
from arraygauge.service.probing import left_alone
from arraygauge.service.purse import Purse
from arraygauge.service.survey import judged
from arraygauge.service.targets import Targets, choose_targets
from arraygauge.values import frozen

Plan = ProbePlan | Skipped


@frozen
class _Known:
    """What follows from one state of the machine; it is the same for months."""

    seen: tuple[object, ...]
    host: Host
    targets: Targets
    grounds: Grounds
    plans: Mapping[str, Plan]
    shares: Mapping[str, Mapping[str, Share]]


class InventedSurveyor:
    """Makes passes at the moments its clock says. What they would read is counted against the
    same budget as that of real ones."""

    def __init__(
        self, configuration: Configuration, purse: Purse, clock: SimulatedClock, seed: int
    ) -> None:
        self._configuration = configuration
        self._purse = purse
        self._clock = clock
        self._pretence = Pretence(seed=seed)
        self._writing = WritePretence(seed=seed)
        self._wrote_on = -EVERY_DAYS
        self._known: _Known | None = None

    def look(self) -> Host:
        """The machine now."""
        return replace(self._learn().host, taken_at_seconds=self._clock.wall_seconds)

    @property
    def grounds(self) -> Grounds:
        """What the machine is judged on, as it is now."""
        return self._learn().grounds

    def survey(self) -> Status:
        """One pass over everything."""
        known, host = self._learn(), self.look()
        attempts: dict[str, Attempt] = {}
        for device in known.targets.devices:
            attempts[device.name] = self._attempt(host, known.plans[device.name])
        for array in known.targets.arrays:
            plan = left_alone(array, attempts) or known.plans[array.name]
            attempts[array.name] = self._attempt(host, plan)
        made = [each for each in attempts.values() if isinstance(each, Measurement)]
        self._spend(known, made)
        seconds = sum(each.seconds for each in made)
        status = judged(host, known.targets, attempts, known.grounds, seconds)
        return replace(status, writes=tuple(self._write(host, known.grounds, attempts)))

    def _write(
        self, host: Host, grounds: Grounds, attempts: Mapping[str, Attempt]
    ) -> Iterator[WriteVerdict]:
        """Once a week, unless that array was left alone in this pass."""
        due = self._wrote_on + EVERY_DAYS <= self._clock.day
        if not due or isinstance(attempts[WRITTEN_ARRAY], Skipped):
            return
        self._wrote_on = self._clock.day
        made = self._writing.measure(host, self._clock.day)
        self._purse.ledger.reserve(
            charges(
                shares_of(host, WRITTEN_ARRAY, made.workload),
                moved_bytes=made.bytes_written,
                busy_seconds=made.seconds,
            )
        )
        yield assess_write(host, WRITTEN_ARRAY, made, attempts, grounds)

    def _learn(self) -> _Known:
        states = states_at(self._clock.day)
        seen = as_seen(states)
        if self._known is None or self._known.seen != seen:
            self._known = self._learned(seen, host_of(states, self._clock.wall_seconds))
        return self._known

    def _learned(self, seen: tuple[object, ...], host: Host) -> _Known:
        targets, limits = choose_targets(host, ()), self._limits
        uplinks = self._configuration.uplinks
        plans: dict[str, Plan] = {
            **{each.name: plan_device(host, each, limits, uplinks) for each in targets.devices},
            **{each.name: plan_array(host, each, limits, uplinks) for each in targets.arrays},
        }
        return _Known(
            seen=seen,
            host=host,
            targets=targets,
            grounds=grounds_of(self._configuration, host),
            plans=plans,
            shares={
                name: shares_of(host, name, plan.workload)
                for name, plan in plans.items()
                if isinstance(plan, ProbePlan)
            },
        )

    @property
    def _limits(self) -> SamplingLimits:
        section = self._configuration.probe
        return SamplingLimits(
            longest_burst_seconds=section.longest_burst_seconds,
            interval_half_width=section.interval_half_width,
            max_bytes=section.max_bytes,
            max_seconds=section.max_seconds,
        )

    def _attempt(self, host: Host, plan: Plan) -> Attempt:
        if isinstance(plan, Skipped):
            return plan
        return self._pretence.measure(host, plan, self._clock.day)

    def _spend(self, known: _Known, made: Sequence[Measurement]) -> None:
        """All of a pass at once, and without asking: four passes a day stay far within it."""
        spent: dict[str, Charge] = {}
        for each in made:
            for one in charges(
                known.shares[each.device], moved_bytes=each.bytes_read, busy_seconds=each.seconds
            ):
                before = spent.get(one.device_id, Charge(device_id=one.device_id))
                spent[one.device_id] = replace(
                    one,
                    read_bytes=before.read_bytes + one.read_bytes,
                    busy_seconds=before.busy_seconds + one.busy_seconds,
                )
        self._purse.ledger.reserve(tuple(spent.values()))
