"""One pass over the machine: discover, probe, judge. Returns one whole status."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from arraygauge.config import Configuration, state_directory
from arraygauge.inventory.machine import read_boot_id
from arraygauge.inventory.values import Array, Host
from arraygauge.judge import (
    ArrayVerdict,
    Cause,
    Grounds,
    Status,
    assess_array,
    assess_device,
    assess_write,
    peer_references,
    with_footage,
    with_walls,
)
from arraygauge.probe.runner import Prober
from arraygauge.probe.sampling import Sampler
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Attempt, Measurement, Outcome, SkipReason
from arraygauge.probe.writes.values import WriteAttempt
from arraygauge.service.grounds import grounds_of
from arraygauge.service.host_reader import HostReader, host_reader
from arraygauge.service.past_trials import beside_trials
from arraygauge.service.probing import Forecast, Manner, Probing, Progress
from arraygauge.service.purse import Purse, open_purse
from arraygauge.service.targets import Targets, choose_targets
from arraygauge.service.write_probing import WriteProbing, read_all_mounts
from arraygauge.values import frozen

Announce = Callable[[Forecast], None]


def _silent(name: str, index: int, total: int) -> None:
    """Progress nobody watches."""


def _unannounced(forecast: Forecast) -> None:
    """A schedule needs no announcing."""


@frozen
class Surveyor:
    """Makes passes: one sampler (whose prober remembers hung devices), one configuration.

    ``writing`` has a pass that is not on schedule write to own files too, as asked for.
    """

    hosts: HostReader
    sampler: Sampler
    purse: Purse
    configuration: Configuration
    state_directory: Path
    manner: Manner
    writing: bool = False

    def survey(
        self,
        names: tuple[str, ...] = (),
        progress: Progress = _silent,
        announce: Announce = _unannounced,
    ) -> Status:
        """Measure and judge everything, or only the named arrays and devices. ``announce`` is
        told what that may spend before it is spent.

        Raises UnknownDeviceError for a name this machine does not have. A device
        that fails is a verdict 'not measured', never an exception.
        """
        began = time.monotonic()
        host, targets, attempts = self._measure(names, progress, announce)
        moved = self._moved(host, attempts)
        if moved and not self.sampler.prober.stop.is_set():
            again = tuple(moved.get(name, name) for name in names)
            host, targets, attempts = self._measure(again, progress, announce)
        grounds = grounds_of(self.configuration, host)
        written = self._write(host, targets, attempts, progress)
        self.purse.ledger.prune()
        status = judged(host, targets, attempts, grounds)
        arrays = beside_trials(self.purse.history, host, status.arrays, grounds.tolerances)
        return replace(
            status,
            arrays=tuple(self._explained(host, verdict, attempts) for verdict in arrays),
            seconds=time.monotonic() - began,
            writes=tuple(
                assess_write(host, name, attempt, attempts, grounds)
                for name, attempt in written.items()
            ),
        )

    @property
    def _writes(self) -> bool:
        scheduled = self.manner is Manner.SCHEDULED
        return self.configuration.write_probe.enabled if scheduled else self.writing

    def _write(
        self, host: Host, targets: Targets, attempts: Mapping[str, Attempt], progress: Progress
    ) -> dict[str, WriteAttempt]:
        if not self._writes:
            return {}
        mounts = read_all_mounts()
        return self._write_probing().write_all(host, mounts, targets, attempts, progress)

    def _write_probing(self) -> WriteProbing:
        return WriteProbing(
            prober=self.sampler.prober,
            purse=self.purse,
            configuration=self.configuration,
            manner=self.manner,
        )

    def _measure(
        self, names: tuple[str, ...], progress: Progress, announce: Announce
    ) -> tuple[Host, Targets, dict[str, Attempt]]:
        host = self.hosts.read()
        targets = choose_targets(host, names)
        announce(self._forecast(host, targets))
        return host, targets, self.probing().probe_all(host, targets, progress)

    def _forecast(self, host: Host, targets: Targets) -> Forecast:
        forecast = self.probing().forecast(host, targets)
        if not self._writes:
            return forecast
        most = self._write_probing().most_bytes(host, read_all_mounts(), targets)
        return replace(forecast, most_written_bytes=most)

    def _moved(self, host: Host, attempts: Mapping[str, Attempt]) -> dict[str, str]:
        """Devices that went away in mid-pass and are back under another name: old to new."""
        gone = [name for name, attempt in attempts.items() if _is_gone(attempt)]
        if not gone:
            return {}
        fresh = {device.stable_id: device.name for device in self.hosts.read().devices}
        before = {name: device.stable_id for name in gone if (device := host.device(name))}
        return {
            name: fresh[stable_id]
            for name, stable_id in before.items()
            if fresh.get(stable_id, name) != name
        }

    def _explained(
        self, host: Host, verdict: ArrayVerdict, attempts: dict[str, Attempt]
    ) -> ArrayVerdict:
        """Where the members share a limit nobody declared, a person who asked is told which."""
        unseen = verdict.cause is Cause.UNSEEN_SHARED_LIMIT
        if not unseen or self.manner is Manner.SCHEDULED:
            return verdict
        members = {member.name for member in verdict.array.members}
        solo = {name: attempt for name, attempt in attempts.items() if name in members}
        report = self.probing().walls_among(host, solo)
        return with_walls(verdict, report.walls) if report is not None else verdict

    def measure_members(
        self, host: Host, array: Array, progress: Progress = _silent
    ) -> dict[str, Attempt]:
        """The members of one array that have no rating, each read by itself."""
        rated = grounds_of(self.configuration, host).rated
        names = [m.name for m in array.members if m.serving and m.name not in rated]
        members = [host.device(name) for name in names]
        devices = tuple(device for device in members if device is not None)
        return self.probing().probe_all(host, Targets(arrays=(), devices=devices), progress)

    def probing(self) -> Probing:
        return Probing(
            sampler=self.sampler,
            purse=self.purse,
            configuration=self.configuration,
            state_directory=self.state_directory,
            manner=self.manner,
        )


@contextmanager
def surveyor(
    configuration: Configuration, stop: StopToken, manner: Manner, *, writing: bool = False
) -> Iterator[Surveyor]:
    """A surveyor for this machine, which keeps what it spends."""
    directory = state_directory()
    limits = configuration.budget.limits()
    with open_purse(directory, limits, read_boot_id()) as purse, host_reader() as hosts:
        yield Surveyor(
            hosts=hosts,
            sampler=Sampler(Prober(stop)),
            purse=purse,
            configuration=configuration,
            state_directory=directory,
            manner=manner,
            writing=writing,
        )


def judged(
    host: Host,
    targets: Targets,
    attempts: Mapping[str, Attempt],
    grounds: Grounds,
    seconds: float = 0.0,
) -> Status:
    """What was read of all targets in so many seconds, held against what it should have been."""
    peers = peer_references(host, attempts)
    return Status(
        host=host,
        arrays=tuple(
            with_footage(host, assess_array(host, array, attempts, grounds), attempts, grounds)
            for array in targets.arrays
        ),
        devices=tuple(
            assess_device(host, device, attempts[device.name], peers, grounds)
            for device in targets.devices
        ),
        seconds=seconds,
    )


def _is_gone(attempt: Attempt) -> bool:
    if isinstance(attempt, Measurement):
        return attempt.outcome is Outcome.VANISHED
    return attempt.reason is SkipReason.MEMBER_GONE
