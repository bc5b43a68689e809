"""The two dashboards, made with Grafana's own typed builders."""

from fleet.grafana.overview import overview
from fleet.grafana.workstation import workstation

__all__ = ["overview", "workstation"]
