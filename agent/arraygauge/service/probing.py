"""Probing everything a pass asks for: in which manner, in which order, through what."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from enum import StrEnum
from functools import partial
from pathlib import Path

from arraygauge.config import Configuration
from arraygauge.inventory.disk_sequence import read_disk_sequence
from arraygauge.inventory.power import read_on_battery
from arraygauge.inventory.pressure import read_io_pressure
from arraygauge.inventory.values import Array, BlockDevice, DeviceKind, Host, MemberState
from arraygauge.probe.budget import is_quiet
from arraygauge.probe.plan import ProbePlan, SamplingLimits, plan_array, plan_device
from arraygauge.probe.sampling import Sampler
from arraygauge.probe.through_file import FilePlaces, probe_through_file
from arraygauge.probe.values import (
    Attempt,
    Measurement,
    Outcome,
    Route,
    Skipped,
    SkipReason,
)
from arraygauge.probe.wall_finding import WallFinder
from arraygauge.probe.wall_runs import WallReport
from arraygauge.service.purse import Purse
from arraygauge.service.targets import Targets
from arraygauge.theory import Workload
from arraygauge.values import frozen

Progress = Callable[[str, int, int], None]
"""Called before each probe with the device's name, its place in the pass and their number."""

PRESSURE_SHARE = 0.25
"""Beyond that the machine is busy with something, wherever it is."""
PRESSURE_SECONDS = 4.0
"""The kernel brings its figure up to date every two seconds (kernel/sched/psi.c, from memory)."""
PATIENCE_SECONDS = 15.0
"""How long a pass waits, for each device, for others to pause their work."""


class Manner(StrEnum):
    """Who asks for a pass.

    ``SCHEDULED`` passes keep quiet hours and leave a machine under I/O pressure alone;
    those ``ASKED`` for do not; ``REGARDLESS`` of others' work, of a rebuild and of what
    powers the machine only a person can want.
    """

    SCHEDULED = "scheduled"
    ASKED = "asked"
    REGARDLESS = "regardless"


@frozen
class Forecast:
    """At most so many bytes and busy seconds, over so many devices and arrays; and so many bytes
    written to own files."""

    device_count: int
    most_bytes: int
    most_seconds: float
    most_written_bytes: int = 0


@frozen
class Probing:
    """One pass's way of probing."""

    sampler: Sampler
    purse: Purse
    configuration: Configuration
    state_directory: Path
    manner: Manner

    def probe_all(self, host: Host, targets: Targets, progress: Progress) -> dict[str, Attempt]:
        """Members and drives one by one, then the arrays they make."""
        attempts: dict[str, Attempt] = {}
        total = len(targets.devices) + len(targets.arrays)
        waiting = self._why_all_wait()
        for device in targets.devices:
            progress(device.name, len(attempts), total)
            plan = waiting(device.name) or plan_device(
                host, device, self.limits, self.configuration.uplinks
            )
            attempts[device.name] = self._probe(host, device, plan)
        for array in targets.arrays:
            if array.name in attempts:
                continue  # a member of another array, read already
            progress(array.name, len(attempts), total)
            plan = (
                waiting(array.name)
                or left_alone(array, attempts)
                or plan_array(host, array, self.limits, self.configuration.uplinks)
            )
            attempts[array.name] = self._probe(host, host.device(array.name), plan)
        return attempts

    def probe_as(
        self, host: Host, device: BlockDevice, workload: Workload, limits: SamplingLimits
    ) -> Attempt:
        """One device or array under a workload of its own."""
        array = host.array(device.name)
        plan = (
            plan_array(host, array, limits, self.configuration.uplinks)
            if array is not None
            else plan_device(host, device, limits, self.configuration.uplinks)
        )
        if isinstance(plan, Skipped):
            return plan
        return self._measure(host, replace(plan, workload=workload, in_flight_seconds=None), limits)

    def walls_among(self, host: Host, attempts: Mapping[str, Attempt]) -> WallReport | None:
        """Which devices share a limit, of those read raw that gave a rate alone just now; None
        for fewer than two. Members that are arrays are left to their own members."""
        solo = {
            name: attempt
            for name, attempt in attempts.items()
            if isinstance(attempt, Measurement)
            and attempt.usable
            and attempt.route is Route.RAW
            and host.array(name) is None
        }
        plans = {name: plan for name in solo if (plan := self._plan(host, name)) is not None}
        if len(plans) < 2:
            return None
        finder = WallFinder(
            self.sampler.prober,
            self.sampler.chance,
            even_if_busy=self.manner is Manner.REGARDLESS,
        )
        chosen = {name: solo[name] for name in plans}
        return self.purse.count(
            host,
            plans,
            {name: measured.bytes_read for name, measured in chosen.items()},
            lambda: finder.find(plans, chosen),
        )

    def _plan(self, host: Host, name: str) -> ProbePlan | None:
        device = host.device(name)
        if device is None:
            return None
        plan = plan_device(host, device, self.limits, self.configuration.uplinks)
        return plan if isinstance(plan, ProbePlan) else None

    def forecast(self, host: Host, targets: Targets) -> Forecast:
        """The most that probing all of it may read, before anything is."""
        plans = [
            plan_device(host, device, self.limits, self.configuration.uplinks)
            for device in targets.devices
        ]
        plans += [
            plan_array(host, array, self.limits, self.configuration.uplinks)
            for array in targets.arrays
        ]
        each = {plan.device: plan for plan in plans if isinstance(plan, ProbePlan)}
        shares = [plan.share_count for plan in each.values()]
        return Forecast(
            device_count=len(each),
            most_bytes=self.limits.max_bytes * sum(shares),
            most_seconds=self.limits.max_seconds * len(each),
        )

    @property
    def limits(self) -> SamplingLimits:
        section = self.configuration.probe
        regardless = self.manner is Manner.REGARDLESS
        return SamplingLimits(
            longest_burst_seconds=section.longest_burst_seconds,
            interval_half_width=section.interval_half_width,
            max_bytes=section.max_bytes,
            max_seconds=section.max_seconds,
            patience_seconds=PATIENCE_SECONDS,
            while_syncing=regardless,
            even_if_busy=regardless,
        )

    def _why_all_wait(self) -> Callable[[str], Skipped | None]:
        """What keeps a whole pass from probing, looked at once as it begins."""
        found = None if self.manner is Manner.REGARDLESS else self._reason_to_wait()

        def waiting(name: str) -> Skipped | None:
            if found is None:
                return None
            reason, detail = found
            return Skipped(device=name, reason=reason, detail=f"{name}: {detail}")

        return waiting

    def _reason_to_wait(self) -> tuple[SkipReason, str] | None:
        if read_on_battery():
            words = "the machine runs on its battery, which slows links and drives"
            return SkipReason.ON_BATTERY, words
        if self.manner is not Manner.SCHEDULED:
            return None
        if is_quiet(self.purse.limits, datetime.now().astimezone().time()):
            return SkipReason.QUIET_HOURS, "these are the quiet hours of the configuration"
        waited = self._pressure_share()
        if waited is not None and waited > PRESSURE_SHARE:
            return SkipReason.OTHERS_AT_WORK, f"programs wait for I/O {waited:.0%} of the time"
        return None

    def _pressure_share(self) -> float | None:
        """The part of a while in which some program waited for I/O, of any device; None where
        the kernel does not say, and while a process of our own hangs: it waits all the time.
        Only before a pass: afterwards it shows the probes' own."""
        before = read_io_pressure()
        if before is None or self.sampler.prober.quarantine.stuck():
            return None
        if self.sampler.prober.stop.wait(PRESSURE_SECONDS):
            return None
        after = read_io_pressure()
        if after is None:
            return None
        return (after.some_seconds - before.some_seconds) / PRESSURE_SECONDS

    def _probe(self, host: Host, device: BlockDevice | None, plan: ProbePlan | Skipped) -> Attempt:
        """Raw where that is allowed, else through an own file on the device."""
        if isinstance(plan, Skipped) or device is None:
            return plan if isinstance(plan, Skipped) else _gone(plan)
        if not _is_same_disk(host, device):
            return _gone(plan)
        attempt = self._measure(host, plan, self.limits)
        if isinstance(attempt, Measurement) and not _is_same_disk(host, device):
            return replace(attempt, outcome=Outcome.VANISHED, detail=_gone(plan).detail)
        hangs = device.name in self.sampler.prober.quarantine.stuck()
        if not isinstance(attempt, Measurement) or attempt.outcome is not Outcome.REFUSED or hangs:
            return attempt
        return self._through_file(host, device, plan, attempt)

    def _measure(self, host: Host, plan: ProbePlan, limits: SamplingLimits) -> Attempt:
        return self.purse.spend(
            host,
            plan,
            limits,
            lambda within: self.sampler.measure(plan, within),
            beyond=self.manner is Manner.REGARDLESS,
        )

    def _through_file(
        self, host: Host, device: BlockDevice, plan: ProbePlan, refused: Measurement
    ) -> Attempt:
        """Reads of a file on it are charged to the device like raw ones, and its making too."""

        def measure(limits: SamplingLimits) -> Attempt:
            places = replace(self._file_places(), limits=limits)
            pay = partial(self.purse.pay_for_file, host, device.name)
            return probe_through_file(self.sampler, host, device, refused, places, pay=pay)

        regardless = self.manner is Manner.REGARDLESS
        return self.purse.spend(host, plan, self.limits, measure, beyond=regardless)

    def _file_places(self) -> FilePlaces:
        section = self.configuration.probe
        return FilePlaces(
            directories=(*map(Path, section.own_file_directories), self.state_directory),
            size_bytes=section.own_file_bytes,
            limits=self.limits,
        )


def _gone(plan: ProbePlan) -> Skipped:
    return Skipped(
        device=plan.device,
        reason=SkipReason.MEMBER_GONE,
        detail=f"{plan.device} is no longer there, or another disk has its name now",
    )


def _is_same_disk(host: Host, device: BlockDevice) -> bool:
    """Names are given again: the kernel numbers disks as they appear."""
    disk = host.device(device.disk) if device.disk else device
    if disk is None or disk.kind is not DeviceKind.DRIVE:
        return True  # arrays and mapped devices count changes of their own
    return read_disk_sequence(disk.name) == disk.sequence


def left_alone(array: Array, attempts: Mapping[str, Attempt]) -> Skipped | None:
    """An array with a member that just failed to read is not read through md, where the
    same failure would make md act on the member."""
    failed = [
        member.name
        for member in array.members
        if MemberState.FAULTY not in member.states
        and isinstance(attempt := attempts.get(member.name), Measurement)
        and attempt.failed
    ]
    if not failed:
        return None
    return Skipped(
        device=array.name,
        reason=SkipReason.MEMBER_UNREADABLE,
        detail=f"{', '.join(failed)} could not be read just now; {array.name} is left alone",
    )
