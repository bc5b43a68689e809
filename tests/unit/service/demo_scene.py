"""A stretch of the demo's story, lived through in one go."""

from __future__ import annotations

from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from arraygauge.history import open_history
from arraygauge.history.incident_log import LoggedChange, LoggedIncident, logged_incidents
from arraygauge.history.measurements import MeasurementRecord, known_devices, measurements_of
from arraygauge.judge import Status
from arraygauge.probe.stop import StopToken
from arraygauge.service.demo.agent import InventedAgent
from arraygauge.service.demo.bays import configuration_of
from arraygauge.service.demo.clock import SimulatedClock


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """What is left of it: ``incidents`` in the order in which they began, ``heard`` every change
    as it was told, ``metrics`` by name, the measurements by device."""

    incidents: tuple[LoggedIncident, ...]
    heard: tuple[LoggedChange, ...]
    status: Status
    records: dict[str, tuple[MeasurementRecord, ...]]
    metrics: dict[str, list[tuple[str, ...]]]
    agent: InventedAgent

    @property
    def causes(self) -> list[str]:
        return [each.cause_name for each in self.incidents]


def lived(folder: Path, since: float, until: float, seed: int = 1) -> Lived:
    """The days from ``since`` to ``until`` of the story."""
    heard: list[LoggedChange] = []
    with closing(open_history(folder / "demo.sqlite")) as history:
        with history.reading() as connection:
            connection.execute("PRAGMA synchronous = OFF")
        agent = InventedAgent(
            history,
            configuration_of(0),
            SimulatedClock(day=since),
            seed=seed,
            on_change=heard.append,
        )
        agent.live_until(until, StopToken())
        assert agent.status is not None
        return Lived(
            incidents=tuple(
                sorted(logged_incidents(history, 100), key=lambda each: each.opened_at_seconds)
            ),
            heard=tuple(heard),
            status=agent.status,
            records={
                each.name: measurements_of(history, each.stable_id)
                for each in known_devices(history)
            },
            metrics={
                spec.name: [sample.labels for sample in samples]
                for spec, samples in agent.collector.families().items()
            },
            agent=agent,
        )
