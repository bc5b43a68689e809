"""What a report is made from: what was gathered, as frozen values."""

from __future__ import annotations

from arraygauge.history import MeasurementRecord
from arraygauge.inventory.values import Array
from arraygauge.tell.page.inputs import Known, Past, Spans
from arraygauge.theory import Derivation, Workload
from arraygauge.values import frozen


@frozen
class ArrayMatter:
    """One array: its past in the time told of, and where its expectation comes from: None for
    a workload in which too little is known of its members."""

    array: Array
    past: Past
    derivations: tuple[tuple[Workload, Derivation | None], ...] = ()


@frozen
class DeviceTotals:
    """What one array or drive was asked in the time told of: attempts, those that gave a rate,
    bytes read and written. Rates in bytes per second, of ``usual_workload`` only. ``latest`` is
    the last that gave a rate, ``refusals`` why others gave none and how often."""

    name: str
    made: int
    rated: int
    read_bytes: int
    written_bytes: int
    least: float | None
    median: float | None
    most: float | None
    latest: MeasurementRecord | None
    refusals: tuple[tuple[str, int], ...]


@frozen
class ReportMatter:
    """All of it. ``fresh`` is whether ``known`` is of a pass just made, and not what the
    history holds; ``unseen`` are sentences on what could not be seen, and why."""

    known: Known
    arrays: tuple[ArrayMatter, ...]
    devices: tuple[DeviceTotals, ...]
    incidents: Spans
    made_at_seconds: float
    since_seconds: float
    until_seconds: float
    fresh: bool
    unseen: tuple[str, ...]
