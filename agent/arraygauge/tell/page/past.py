"""Throughput over time, with what is expected behind it and incidents on it."""

from __future__ import annotations

from markupsafe import Markup

from arraygauge.history.trend import IncidentSpan, Stretch
from arraygauge.tell.charts.series import time_chart
from arraygauge.tell.charts.values import Band, Mark, TimeChart, TimePoint
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.tell.page.inputs import Past
from arraygauge.tell.page.pictures import drawn
from arraygauge.theory import Expectation


def past_picture(
    past: Past, expected: Expectation | None, *, title: str, description: str
) -> Markup:
    """``expected`` is that of now: it stands behind all of the past."""
    band = None
    if expected is not None:
        band = Band(
            floor_bytes_per_second=expected.floor_bytes_per_second,
            ceiling_bytes_per_second=expected.ceiling_bytes_per_second,
        )
    chart = TimeChart(
        title=title,
        description=description,
        unit_word="MB/s",
        start_seconds=past.start_seconds,
        end_seconds=past.end_seconds,
        points=tuple(map(_point, past.stretches)),
        band=band,
        marks=tuple(map(_mark, past.incidents.found)),
    )
    return drawn(time_chart(chart))


def _point(stretch: Stretch) -> TimePoint:
    return TimePoint(
        at_seconds=stretch.at_seconds,
        low_bytes_per_second=stretch.least,
        bytes_per_second=stretch.mean,
        high_bytes_per_second=stretch.most,
    )


def _mark(span: IncidentSpan) -> Mark:
    return Mark(
        at_seconds=span.opened_at_seconds,
        until_seconds=span.closed_at_seconds,
        severity_word=SEVERITY_WORDS[span.worst],
        label=span.headline,
    )
