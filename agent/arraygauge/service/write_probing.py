"""Writing to the agent's own files, after a pass has read: on what, when, and why not."""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path

from arraygauge.config import Configuration
from arraygauge.history import HistoryError
from arraygauge.history.measurements import MeasurementRecord, measurements_of
from arraygauge.inventory.mountinfo import read_mounts
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.inventory.values import BlockDevice, Host, Mount
from arraygauge.probe.lookout import CounterLookout
from arraygauge.probe.runner import Prober
from arraygauge.probe.values import Attempt, Measurement, Skipped, SkipReason
from arraygauge.probe.watch import Watch, watch_for
from arraygauge.probe.writes.lookout import WriteLookout
from arraygauge.probe.writes.places import Place, place_of
from arraygauge.probe.writes.plan import WriteLimits, plan_write
from arraygauge.probe.writes.probing import probe_write
from arraygauge.probe.writes.values import WriteAttempt, WriteOutcome, WriteRequest
from arraygauge.service.grounds import endurance_of
from arraygauge.service.probing import PATIENCE_SECONDS, Manner, Progress, left_alone
from arraygauge.service.purse import Purse
from arraygauge.service.targets import Targets, choose_targets
from arraygauge.service.write_purse import WritePurse
from arraygauge.values import frozen

QUIET_SECONDS = 0.5
"""Nobody else may use the device for so long before it is written to."""
_TOLD = frozenset(
    map(str, (WriteOutcome.WRITE_ERROR, WriteOutcome.TIMED_OUT, WriteOutcome.ABANDONED))
)
"""Outcomes after which it is not tried again at the next pass already."""


def read_all_mounts() -> tuple[Mount, ...]:
    """Every mount of this machine, those on no block device too."""
    return read_mounts(Reader(Tree()))


@frozen
class WriteProbing:
    """One pass's way of writing."""

    prober: Prober
    purse: Purse
    configuration: Configuration
    manner: Manner

    def write_all(
        self,
        host: Host,
        mounts: tuple[Mount, ...],
        targets: Targets,
        attempts: Mapping[str, Attempt],
        progress: Progress,
    ) -> dict[str, WriteAttempt]:
        """By name of the array or drive, or of a directory that lies on neither. What is not
        due on schedule, and directories on what this pass leaves out, are not in it."""
        found: dict[str, WriteAttempt] = {}
        places = self.places(host, mounts)
        for place in places:
            if (why := _why_unfit(host, targets, place)) is not None:
                name = str(place.directory)
                found[name] = Skipped(device=name, reason=SkipReason.NO_OWN_FILE, detail=why)
        due = [device for device in self._devices(host, targets, places) if self._is_due(device)]
        for index, device in enumerate(due):
            if self.prober.stop.is_set():
                break
            progress(device.name, index, len(due))
            here = tuple(each for each in places if each.target == device.name)
            found[device.name] = self._write(host, device, here, attempts)
        return found

    def most_bytes(self, host: Host, mounts: tuple[Mount, ...], targets: Targets) -> int:
        """What all of it may write, the making of the files included, before anything is."""
        section = self.configuration.write_probe
        devices = self._devices(host, targets, self.places(host, mounts))
        due = [device for device in devices if self._is_due(device)]
        return len(due) * (section.file_bytes + section.burst_bytes)

    def places(self, host: Host, mounts: tuple[Mount, ...]) -> tuple[Place, ...]:
        """The configuration's directories."""
        directories = self.configuration.write_probe.directories
        return tuple(place_of(host, mounts, Path(path)) for path in directories)

    def _devices(
        self, host: Host, targets: Targets, places: tuple[Place, ...]
    ) -> tuple[BlockDevice, ...]:
        asked = _names(targets)
        names = dict.fromkeys(each.target for each in places)
        found = [host.device(name) for name in names if name in asked]
        return tuple(device for device in found if device is not None)

    def _is_due(self, device: BlockDevice) -> bool:
        """On schedule: once an interval, and again when it had to give way, but never more than
        two bursts and a file in one interval."""
        if self.manner is not Manner.SCHEDULED:
            return True
        section = self.configuration.write_probe
        since = self.purse.clock_seconds() - section.interval_seconds
        try:
            records = measurements_of(self.purse.history, device.stable_id, since)
            written = self.purse.ledger.written_since(device.stable_id, section.interval_seconds)
        except HistoryError:
            return True  # the purse refuses, and says why
        enough = section.file_bytes + 2 * section.burst_bytes
        return written < enough and not any(_tells(record) for record in records)

    def _write(
        self,
        host: Host,
        device: BlockDevice,
        places: tuple[Place, ...],
        attempts: Mapping[str, Attempt],
    ) -> WriteAttempt:
        limits = self._limits(tuple(each.directory for each in places))
        plan = self._as_for_reading(host, device, attempts) or plan_write(host, device, limits)
        if isinstance(plan, Skipped):
            return plan
        purse = WritePurse(purse=self.purse, endurance=endurance_of(self.configuration, host))
        watch = watch_for(host, _watched(plan, places), self.configuration.uplinks)
        return purse.spend(host, plan, lambda within: self._in_quiet(within, watch))

    def _as_for_reading(
        self, host: Host, device: BlockDevice, attempts: Mapping[str, Attempt]
    ) -> Skipped | None:
        """What was not read in this pass, for any reason but the lack of an own file to read,
        is not written to either; nor is what failed to be read."""
        read, array = attempts.get(device.name), host.array(device.name)
        if isinstance(read, Skipped) and read.reason is not SkipReason.NO_OWN_FILE:
            return read
        if isinstance(read, Measurement) and read.failed:
            detail = f"{device.name}: reading it just failed, so nothing is written to it"
            reason = SkipReason.MEMBER_UNREADABLE
            return Skipped(device=device.name, reason=reason, detail=detail)
        return left_alone(array, attempts) if array is not None else None

    def _in_quiet(self, request: WriteRequest, watch: Watch) -> WriteAttempt:
        """Once nobody else is at work, and until somebody is."""
        if self.manner is Manner.REGARDLESS:
            return probe_write(self.prober, request)
        until = time.monotonic() + PATIENCE_SECONDS
        with CounterLookout(watch) as waiting:
            while (busy := waiting.quiet_for(QUIET_SECONDS, self.prober.stop)) is not None:
                if time.monotonic() >= until or self.prober.stop.is_set():
                    detail = f"{request.device}: {busy}; it is tried again later"
                    reason = SkipReason.OTHERS_AT_WORK
                    return Skipped(device=request.device, reason=reason, detail=detail)
        with WriteLookout(watch) as lookout:
            lookout.begin()
            return probe_write(self.prober, request, lookout)

    def _limits(self, directories: tuple[Path, ...]) -> WriteLimits:
        section = self.configuration.write_probe
        return WriteLimits(
            directories=directories,
            max_bytes=section.file_bytes + section.burst_bytes,
            file_bytes=section.file_bytes,
            burst_bytes=section.burst_bytes,
            longest_seconds=section.longest_seconds,
            transfer_bytes=section.transfer_bytes,
            keep_file=section.keep_file,
            while_syncing=self.manner is Manner.REGARDLESS,
        )


def _watched(request: WriteRequest, places: tuple[Place, ...]) -> str:
    """The device whose counters show all of the writes: what the file's filesystem is on."""
    fit = {each.device for each in request.filesystems if each.unfit is None}
    return next((each.device for each in places if each.device in fit), None) or request.device


def _tells(record: MeasurementRecord) -> bool:
    return record.workload.startswith("write-") and (
        record.rate is not None or record.outcome in _TOLD
    )


def _names(targets: Targets) -> set[str]:
    return {each.name for each in targets.arrays} | {each.name for each in targets.devices}


def _why_unfit(host: Host, targets: Targets, place: Place) -> str | None:
    """Why a directory tells of nothing that is ever measured; None where it does, and where it
    is only that this pass is not asked for it."""
    if place.target is None or place.target in _names(choose_targets(host, ())):
        return place.why_none
    if place.target in _names(targets):
        return None
    return (
        f"{place.directory} lies on {place.target}, which is not measured by itself: "
        "parts of it are members of an array"
    )
