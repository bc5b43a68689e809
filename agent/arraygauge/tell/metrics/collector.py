"""What the daemon publishes, kept as frozen values until the next; a scrape reads only these."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from arraygauge import __version__
from arraygauge.inventory.values import Host
from arraygauge.judge import Status, WriteVerdict
from arraygauge.judge.incidents import Incident
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.metrics.agent import (
    AgentHealth,
    agent_samples,
    channel_samples,
    look_samples,
    pass_samples,
)
from arraygauge.tell.metrics.arrays import array_rate_samples, array_samples
from arraygauge.tell.metrics.devices import budget_samples, device_rate_samples, device_samples
from arraygauge.tell.metrics.families import Families, families
from arraygauge.tell.metrics.incidents import incident_samples
from arraygauge.tell.metrics.values import BudgetUse, Sample
from arraygauge.tell.metrics.writes import write_samples


class StatusCollector:
    """Makes every family afresh, so removed devices vanish. Each ``publish_*`` replaces one
    whole value and may be called from any thread; ``version`` is another object after each.
    ``build`` names the program's version."""

    def __init__(self, build: str = __version__) -> None:
        self.version = object()
        self._build = build
        self._status: Status | None = None
        self._writes: dict[str, WriteVerdict] = {}
        self._host: Host | None = None
        self._passes = self._pass_failures = 0
        self._interval: float | None = None
        self._heartbeat: float | None = None
        self._incidents: tuple[Incident, ...] | None = None
        self._channels: tuple[ChannelState, ...] = ()
        self._budget: tuple[BudgetUse, ...] = ()

    def publish(self, status: Status) -> None:
        """What a pass found, its inventory included. Most passes do not write: the latest that
        did stands, for what is still there."""
        self._status = status
        latest = {each.device.stable_id: each for each in status.writes if each.device is not None}
        there = {device.stable_id for device in status.host.devices}
        known = {**self._writes, **latest}
        self._writes = {name: each for name, each in known.items() if name in there}
        self._passes += 1
        self.publish_host(status.host)

    def publish_host(self, host: Host) -> None:
        """What the kernel says, unless something newer is known."""
        if self._host is None or host.taken_at_seconds >= self._host.taken_at_seconds:
            self._host = host
        self.version = object()

    def publish_incidents(self, incidents: Sequence[Incident]) -> None:
        """All that are open, the worst first."""
        self._incidents = tuple(incidents)
        self.version = object()

    def publish_channels(self, channels: Sequence[ChannelState]) -> None:
        """Every way of telling."""
        self._channels = tuple(channels)
        self.version = object()

    def publish_budget(self, uses: Sequence[BudgetUse]) -> None:
        """Of every device that has a budget."""
        self._budget = tuple(uses)
        self.version = object()

    def publish_interval(self, seconds: float) -> None:
        """From one pass to the next."""
        self._interval = seconds
        self.version = object()

    def note_failure(self) -> None:
        """A pass that ended in an error; the latest status stands."""
        self._pass_failures += 1
        self.version = object()

    def note_heartbeat(self, wall_seconds: float) -> None:
        """Every part of the agent makes progress."""
        self._heartbeat = wall_seconds
        self.version = object()

    def families(self) -> Families:
        """All that is known now."""
        return families(self._samples())

    def _samples(self) -> Iterator[Sample]:
        host, status = self._host, self._status
        if host is not None:
            yield from array_samples(host)
            yield from device_samples(host)
            yield from look_samples(host)
        if status is not None:
            yield from chain.from_iterable(map(array_rate_samples, status.arrays))
            yield from chain.from_iterable(map(device_rate_samples, status.devices))
            yield from chain.from_iterable(map(write_samples, self._writes.values()))
            yield from pass_samples(status)
        if self._incidents is not None:
            names = {array.name: array.stable_id for array in host.arrays} if host else {}
            yield from incident_samples(self._incidents, names)
        yield from budget_samples(self._budget)
        yield from channel_samples(self._channels)
        yield from agent_samples(
            AgentHealth(
                build=self._build,
                passes=self._passes,
                pass_failures=self._pass_failures,
                interval_seconds=self._interval,
                heartbeat_seconds=self._heartbeat,
            )
        )
