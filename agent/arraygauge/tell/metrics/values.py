"""What a metric is, and what is given to the collector that no other layer has a value for."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.values import frozen

PREFIX = "arraygauge_"


class Kind(StrEnum):
    """OpenMetrics types that are used here."""

    GAUGE = "gauge"
    COUNTER = "counter"
    INFO = "info"


class Unit(StrEnum):
    """Base units, Prometheus naming practice; counts and facts have none."""

    NONE = ""
    BYTES = "bytes"
    BYTES_PER_SECOND = "bytes per second"
    SECONDS = "seconds"
    TIMESTAMP = "seconds since 1970"
    RATIO = "ratio, 0 to 1"
    CELSIUS = "degrees Celsius"


@frozen
class MetricSpec:
    """One metric: its name without prefix and without the suffixes `_total` and `_info`."""

    name: str
    kind: Kind
    help: str
    unit: Unit = Unit.NONE
    labels: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()
    """Labels of an info metric that may change while what it is about stays."""

    @property
    def series_name(self) -> str:
        """What a query names."""
        suffix = {Kind.GAUGE: "", Kind.COUNTER: "_total", Kind.INFO: "_info"}[self.kind]
        return PREFIX + self.name + suffix

    @property
    def all_labels(self) -> tuple[str, ...]:
        return self.labels + self.facts


@frozen
class Sample:
    """One number of the metric named ``name``, with the values of all its labels in order."""

    name: str
    labels: tuple[str, ...] = ()
    number: float = 1.0


@frozen
class BudgetUse:
    """What probing took of one device in the last 24 hours, and what share of an hour's budget
    may still be spent now, 0 to 1."""

    device_id: str
    day_bytes: int
    left_ratio: float
