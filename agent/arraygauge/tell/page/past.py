"""Throughput over time, with what was expected behind it and incidents on it."""

from __future__ import annotations

from markupsafe import Markup

from arraygauge.history.trend import IncidentSpan, Stretch
from arraygauge.tell.charts.series import time_chart
from arraygauge.tell.charts.values import Band, Mark, TimeChart, TimePoint
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.tell.page.inputs import Past
from arraygauge.tell.page.pictures import drawn


def past_picture(past: Past, *, title: str, description: str) -> Markup:
    """Behind each measurement stands what was expected of the array as it was then."""
    chart = TimeChart(
        title=title,
        description=description,
        unit_word="MB/s",
        start_seconds=past.start_seconds,
        end_seconds=past.end_seconds,
        points=tuple(map(_point, past.stretches)),
        marks=tuple(map(_mark, past.incidents.found)),
    )
    return drawn(time_chart(chart))


def _point(stretch: Stretch) -> TimePoint:
    return TimePoint(
        at_seconds=stretch.at_seconds,
        low_bytes_per_second=stretch.least,
        bytes_per_second=stretch.mean,
        high_bytes_per_second=stretch.most,
        expected=_band(stretch),
    )


def _band(stretch: Stretch) -> Band | None:
    if stretch.floor is None or stretch.ceiling is None:
        return None
    return Band(floor_bytes_per_second=stretch.floor, ceiling_bytes_per_second=stretch.ceiling)


def _mark(span: IncidentSpan) -> Mark:
    return Mark(
        at_seconds=span.opened_at_seconds,
        until_seconds=span.closed_at_seconds,
        severity_word=SEVERITY_WORDS[span.worst],
        label=span.headline,
    )
