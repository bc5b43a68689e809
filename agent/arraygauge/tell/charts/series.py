"""A rate over time, on what was expected of it, with what happened meanwhile."""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.tell.charts.axes import (
    Plot,
    Sign,
    foot_label,
    legend,
    legend_height,
    rate_axis,
)
from arraygauge.tell.charts.expected import draw_expected, expected_sign
from arraygauge.tell.charts.marks import draw_marks
from arraygauge.tell.charts.svg import (
    STRETCH,
    element,
    label,
    line,
    number,
    picture,
    stretched,
)
from arraygauge.tell.charts.thinning import Run, runs_of
from arraygauge.tell.charts.ticks import date_ticks, rate_scale
from arraygauge.tell.charts.values import TimeChart, TimePoint

_TOP, _HEIGHT, _FOOT = 40.0, 190.0, 30.0


def time_chart(chart: TimeChart) -> str:
    """The series as a line broken where there is nothing, its interval around it, the band
    behind it. Points and marks outside of the time shown are left out."""
    inside = [p for p in chart.points if chart.start_seconds <= p.at_seconds <= chart.end_seconds]
    runs = runs_of(inside)
    plot = Plot(top=_TOP, height=_HEIGHT, rates=rate_scale(list(_values(runs)), from_zero=False))
    across_time = _Time(chart.start_seconds, chart.end_seconds)
    drawn = draw_marks(chart.marks, chart.start_seconds, chart.end_seconds, plot)
    signs = [*_measured_sign(runs), *expected_sign(runs), *drawn.signs]
    bottom = plot.bottom + _FOOT
    height = bottom + legend_height(len(signs)) + (18 if drawn.left_out else 0)
    left_out = _left_out(drawn.left_out, height - 5) if drawn.left_out else ""
    return picture(
        chart.title,
        chart.description,
        height,
        "chart-plotted",
        stretched(plot.top, plot.height, *draw_expected(runs, plot, across_time.place)),
        rate_axis(plot, chart.unit_word),
        _dates(chart, plot, across_time),
        stretched(plot.top, plot.height, *_series(runs, plot, across_time)),
        "" if runs else label("not measured in this time", "50%", plot.top + 90, "", "middle"),
        drawn.markup,
        legend(signs, bottom + 12),
        left_out,
    )


class _Time:
    """Moments as shares of the width."""

    def __init__(self, start: float, end: float) -> None:
        self._start, self._span = start, max(end - start, 1.0)

    def share(self, moment: float) -> float:
        return (moment - self._start) / self._span

    def place(self, moment: float) -> float:
        """In units of ``STRETCH``."""
        return STRETCH * self.share(moment)

    def units(self, moment: float) -> str:
        return number(self.place(moment))


def _values(runs: tuple[Run, ...]) -> Iterator[float]:
    for point in (point for run in runs for point in run):
        yield point.bytes_per_second or 0.0
        yield from _interval(point)
        if point.expected is not None:
            yield point.expected.floor_bytes_per_second
            yield point.expected.ceiling_bytes_per_second


def _interval(point: TimePoint) -> tuple[float, float]:
    """The rate itself where there is no interval."""
    rate = point.bytes_per_second or 0.0
    low, high = point.low_bytes_per_second, point.high_bytes_per_second
    return (rate if low is None else low), (rate if high is None else high)


def _series(runs: tuple[Run, ...], plot: Plot, when: _Time) -> Iterator[str]:
    """Intervals first, then lines: a run of one point is a dot, by the round ends of its line."""
    for run in runs:
        lows = [(when.units(p.at_seconds), plot.down(_interval(p)[0])) for p in run]
        highs = [(when.units(p.at_seconds), plot.down(_interval(p)[1])) for p in run]
        outline = "L".join(f"{x} {number(y)}" for x, y in (*lows, *reversed(highs)))
        class_ = "chart-interval" if len(run) > 1 else "chart-interval-alone"
        yield element("path", d=f"M{outline}z", class_=class_)
    lines = "".join(_line(run, plot, when) for run in runs)
    if lines:
        yield element("path", d=lines, class_="chart-line")


def _line(run: Run, plot: Plot, when: _Time) -> str:
    places = [
        f"{when.units(p.at_seconds)} {number(plot.down(p.bytes_per_second or 0.0))}" for p in run
    ]
    return "M" + "L".join(places if len(places) > 1 else places * 2)


def _dates(chart: TimeChart, plot: Plot, when: _Time) -> str:
    parts = []
    for tick in date_ticks(chart.start_seconds, chart.end_seconds, 5):
        share = when.share(tick.at_seconds)
        x = f"{number(100 * share)}%"
        parts.append(line(x, plot.bottom, x, plot.bottom + 5, "chart-base"))
        parts.append(foot_label(share, tick.words, plot.bottom + 19))
    return "".join(parts)


def _measured_sign(runs: tuple[Run, ...]) -> Iterator[Sign]:
    if runs:
        yield Sign(figure=line(0, 0, 18, 0, "chart-line"), words="measured, with its interval")


def _left_out(count: int, y: float) -> str:
    words = f"{count} more incidents are too close to these to be drawn"
    return label(words, 0, y, "chart-muted", letters=90)
