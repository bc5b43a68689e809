"""One pass over the machine: discover, probe, judge. Returns one whole status."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from arraygauge.config import Configuration, state_directory
from arraygauge.inventory.host import read_host
from arraygauge.inventory.values import Array, BlockDevice, Host, MemberState
from arraygauge.judge import (
    DeviceVerdict,
    Grounds,
    Status,
    assess_array,
    assess_device,
    peer_rates,
)
from arraygauge.probe.plan import BurstLimits, plan_array, plan_device
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.through_file import FilePlaces, probe_through_file
from arraygauge.probe.values import (
    Attempt,
    Measurement,
    Outcome,
    ProbeRequest,
    Skipped,
    SkipReason,
)
from arraygauge.service.grounds import grounds_of
from arraygauge.service.targets import Targets, choose_targets

Progress = Callable[[str, int, int], None]
"""Called before each probe with the device's name, its place in the pass and their number."""


def _silent(name: str, index: int, total: int) -> None:
    """Progress nobody watches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surveyor:
    """Makes passes: one prober (which remembers hung devices), one configuration."""

    prober: Prober
    configuration: Configuration
    state_directory: Path

    def survey(self, names: tuple[str, ...] = (), progress: Progress = _silent) -> Status:
        """Measure and judge everything, or only the named arrays and devices.

        Raises UnknownDeviceError for a name this machine does not have. A device
        that fails is a verdict 'not measured', never an exception.
        """
        began = time.monotonic()
        host = read_host()
        targets = choose_targets(host, names)
        attempts = self._probe_all(host, targets, progress)
        grounds = grounds_of(self.configuration, host)
        return Status(
            host=host,
            arrays=tuple(assess_array(host, array, attempts, grounds) for array in targets.arrays),
            devices=tuple(
                _device_verdict(host, device, attempts, grounds) for device in targets.devices
            ),
            seconds=time.monotonic() - began,
        )

    def measure_members(
        self, host: Host, array: Array, progress: Progress = _silent
    ) -> dict[str, Attempt]:
        """The members of one array that have no rating, each read by itself."""
        rated = grounds_of(self.configuration, host).rated
        names = [m.name for m in array.members if m.serving and m.name not in rated]
        members = [host.device(name) for name in names]
        devices = tuple(device for device in members if device is not None)
        return self._probe_all(host, Targets(arrays=(), devices=devices), progress)

    def _probe_all(self, host: Host, targets: Targets, progress: Progress) -> dict[str, Attempt]:
        """Members and drives one by one, then the arrays they make."""
        attempts: dict[str, Attempt] = {}
        total = len(targets.devices) + len(targets.arrays)
        limits = limits_of(self.configuration)
        for device in targets.devices:
            progress(device.name, len(attempts), total)
            attempts[device.name] = self._probe(host, device, plan_device(host, device, limits))
        for array in targets.arrays:
            if array.name in attempts:
                continue  # a member of another array, read already
            progress(array.name, len(attempts), total)
            plan = _left_alone(array, attempts) or plan_array(host, array, limits)
            attempts[array.name] = self._probe(host, host.device(array.name), plan)
        return attempts

    def _probe(
        self, host: Host, device: BlockDevice | None, plan: ProbeRequest | Skipped
    ) -> Attempt:
        """Raw where that is allowed, else through an own file on the device."""
        if isinstance(plan, Skipped) or device is None:
            return plan if isinstance(plan, Skipped) else _gone(plan)
        attempt = self.prober.run(plan)
        hangs = device.name in self.prober.quarantine.stuck()
        if attempt.outcome is not Outcome.REFUSED or hangs:
            return attempt  # making a file on a device that hangs would hang this process
        return probe_through_file(self.prober, host, device, attempt, self._file_places())

    def _file_places(self) -> FilePlaces:
        section = self.configuration.probe
        return FilePlaces(
            directories=(*map(Path, section.own_file_directories), self.state_directory),
            size_bytes=section.own_file_bytes,
            limits=limits_of(self.configuration),
        )


def surveyor(configuration: Configuration, stop: StopToken) -> Surveyor:
    """A surveyor for this machine."""
    return Surveyor(
        prober=Prober(stop), configuration=configuration, state_directory=state_directory()
    )


def limits_of(configuration: Configuration) -> BurstLimits:
    section = configuration.probe
    return BurstLimits(
        seconds=section.seconds,
        warm_up_seconds=section.warm_up_seconds,
        max_bytes=section.max_bytes,
    )


def _gone(plan: ProbeRequest) -> Skipped:
    return Skipped(
        device=plan.device,
        reason=SkipReason.MEMBER_GONE,
        detail=f"{plan.device} is no longer there",
    )


def _left_alone(array: Array, attempts: Mapping[str, Attempt]) -> Skipped | None:
    """An array with a member that just failed to read is not read through md, where the
    same failure would make md act on the member."""
    failed = [
        member.name
        for member in array.members
        if MemberState.FAULTY not in member.states
        and isinstance(attempt := attempts.get(member.name), Measurement)
        and attempt.outcome
        in (Outcome.READ_ERROR, Outcome.TIMED_OUT, Outcome.ABANDONED, Outcome.VANISHED)
    ]
    if not failed:
        return None
    return Skipped(
        device=array.name,
        reason=SkipReason.MEMBER_UNREADABLE,
        detail=f"{', '.join(failed)} could not be read just now; {array.name} is left alone",
    )


def _device_verdict(
    host: Host, device: BlockDevice, attempts: Mapping[str, Attempt], grounds: Grounds
) -> DeviceVerdict:
    own_array = next(
        (
            array
            for array in host.arrays
            if any(member.name == device.name for member in array.members)
        ),
        None,
    )
    peers = peer_rates(own_array, attempts, device.name) if own_array else {}
    return assess_device(host, device, attempts[device.name], peers, grounds)
