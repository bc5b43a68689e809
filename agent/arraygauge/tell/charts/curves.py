"""Rates over transfer sizes: what was measured over what was predicted."""

from __future__ import annotations

import math
from collections.abc import Sequence

from arraygauge.tell.charts.axes import (
    Plot,
    Sign,
    foot_label,
    legend,
    legend_height,
    rate_axis,
)
from arraygauge.tell.charts.svg import (
    RING,
    SQUARE,
    STRETCH,
    across,
    element,
    label,
    line,
    number,
    picture,
    stretched,
    symbol,
)
from arraygauge.tell.charts.ticks import rate_scale
from arraygauge.tell.charts.values import CurveChart, CurvePoint
from arraygauge.units import format_binary, format_rate

_TOP, _HEIGHT, _FOOT = 30.0, 200.0, 44.0
_EDGE = 0.03
MOST_SIZES = 6


def curve_chart(chart: CurveChart) -> str:
    """Sizes on a scale on which each doubling is one step, rates from nought."""
    every = (*chart.measured, *chart.predicted)
    rates = [point.bytes_per_second for point in every]
    plot = Plot(top=_TOP, height=_HEIGHT, rates=rate_scale(rates, from_zero=True))
    sizes = _Sizes(sorted({point.transfer_bytes for point in every}))
    signs = _signs(chart)
    bottom = plot.bottom + _FOOT
    return picture(
        chart.title,
        chart.description,
        bottom + legend_height(len(signs)),
        "chart-plotted",
        rate_axis(plot, "MB/s"),
        _size_axis(sizes, plot),
        stretched(
            plot.top,
            plot.height,
            _path(chart.predicted, sizes, plot, "chart-predicted"),
            _path(chart.measured, sizes, plot, "chart-line"),
        ),
        _points(chart.predicted, sizes, plot, SQUARE, "chart-predicted-point"),
        _points(chart.measured, sizes, plot, RING, "chart-point"),
        "" if every else label("not measured", "50%", plot.top + 90, "", "middle"),
        legend(signs, bottom + 12),
    )


class _Sizes:
    """Transfer sizes as shares of the width, by their logarithm."""

    def __init__(self, sizes: Sequence[int]) -> None:
        self.all = sizes
        logs = [math.log2(max(size, 1)) for size in sizes] or [0.0]
        self._low, self._span = logs[0], logs[-1] - logs[0]

    def share(self, size: int) -> float:
        if not self._span:
            return 0.5
        along = (math.log2(max(size, 1)) - self._low) / self._span
        return _EDGE + (1 - 2 * _EDGE) * along

    @property
    def labelled(self) -> list[int]:
        """Every so many of them, the last one in any case."""
        step = math.ceil(len(self.all) / MOST_SIZES) or 1
        return sorted(self.all[::-1][::step])


def _size_axis(sizes: _Sizes, plot: Plot) -> str:
    parts = [label("transfer size", "50%", plot.bottom + 36, "chart-muted", "middle")]
    for size in sizes.labelled:
        x = across(sizes.share(size))
        parts.append(line(x, plot.bottom, x, plot.bottom + 5, "chart-base"))
        parts.append(foot_label(sizes.share(size), format_binary(size), plot.bottom + 19))
    return "".join(parts)


def _path(points: Sequence[CurvePoint], sizes: _Sizes, plot: Plot, class_: str) -> str:
    places = [
        f"{number(STRETCH * sizes.share(p.transfer_bytes))} {number(plot.down(p.bytes_per_second))}"
        for p in sorted(points, key=lambda each: each.transfer_bytes)
    ]
    return element("path", d="M" + "L".join(places), class_=class_) if places else ""


def _points(points: Sequence[CurvePoint], sizes: _Sizes, plot: Plot, path: str, class_: str) -> str:
    return "".join(
        symbol(
            across(sizes.share(point.transfer_bytes)),
            plot.top + plot.down(point.bytes_per_second),
            path,
            class_,
            f"{format_binary(point.transfer_bytes)}: {format_rate(point.bytes_per_second)}",
        )
        for point in points
    )


def _signs(chart: CurveChart) -> list[Sign]:
    signs = []
    if chart.measured:
        figure = line(0, 0, 18, 0, "chart-line") + symbol(9, 0, RING, "chart-point")
        signs.append(Sign(figure=figure, words="measured"))
    if chart.predicted:
        figure = line(0, 0, 18, 0, "chart-predicted")
        figure += symbol(9, 0, SQUARE, "chart-predicted-point")
        signs.append(Sign(figure=figure, words="predicted"))
    return signs
