"""A report as a file that needs nothing beside itself: no script, and nothing is fetched."""

from __future__ import annotations

from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from arraygauge import __version__
from arraygauge.tell.report.values import Report

MARKER = '<meta name="generator" content="arraygauge report">'
"""In every report: what another report may replace."""


def report_html(report: Report) -> str:
    """The whole document."""
    environment = Environment(
        loader=PackageLoader("arraygauge.tell.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = "".join(
        (files(package) / name).read_text(encoding="utf-8")
        for package, name in (
            ("arraygauge.tell.report", "report.css"),
            ("arraygauge.tell.charts", "charts.css"),
        )
    )
    return environment.get_template("report.html").render(
        report=report,
        style=Markup(style),  # noqa: S704 -- our own files
        marker=Markup(MARKER),  # noqa: S704
        version=__version__,
    )
