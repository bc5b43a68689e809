"""The agent's state as Prometheus metrics: one table, one collector, cached expositions."""

from arraygauge.tell.metrics.collector import StatusCollector
from arraygauge.tell.metrics.exposition import Exposition
from arraygauge.tell.metrics.table import TABLE
from arraygauge.tell.metrics.values import PREFIX, BudgetUse, Kind, MetricSpec, Unit

__all__ = [
    "PREFIX",
    "TABLE",
    "BudgetUse",
    "Exposition",
    "Kind",
    "MetricSpec",
    "StatusCollector",
    "Unit",
]
