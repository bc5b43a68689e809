"""Members side by side on one scale."""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.tell.charts.svg import (
    DIAMOND,
    across,
    element,
    label,
    line,
    picture,
    symbol,
)
from arraygauge.tell.charts.values import Bar, MemberBars
from arraygauge.units import format_rate

MOST_BARS = 24
_ROW, _NOTE, _HEAD, _FOOT = 26.0, 15.0, 26.0, 8.0


def member_bars(chart: MemberBars) -> str:
    """A bar each, in the order given, up to ``MOST_BARS``: of more, all that is odd or has no
    rate comes first, and what is left out is said."""
    shown = _shown(chart.bars)
    rest = [bar for bar in chart.bars if not any(bar is each for each in shown)]
    highest = max([bar.bytes_per_second or 0.0 for bar in chart.bars] + [_expected(chart), 1.0])
    rows, y = [], _HEAD
    for bar in shown:
        rows.append(_bar(bar, y, highest * 1.04))
        y += _ROW + (_NOTE if bar.note else 0)
    height = y + _FOOT + (_ROW if rest else 0)
    return picture(
        chart.title,
        chart.description,
        height,
        "chart-rows",
        line(0, _HEAD - 4, 0, y, "chart-base"),
        *rows,
        _expectation(chart, y, highest * 1.04),
        label(_left_out(rest), 0, y + 16, "chart-muted", letters=90) if rest else "",
    )


def _shown(bars: Sequence[Bar]) -> list[Bar]:
    if len(bars) <= MOST_BARS:
        return list(bars)
    worst = sorted(bars, key=lambda each: (not each.odd, each.bytes_per_second is not None))
    first = {id(each) for each in worst[:MOST_BARS]}
    return [bar for bar in bars if id(bar) in first]


def _expected(chart: MemberBars) -> float:
    return chart.expected_bytes_per_second or 0.0


def _bar(bar: Bar, y: float, highest: float) -> str:
    middle = y + 8
    parts = [label(bar.name, -8, middle + 4, "chart-strong" if bar.odd else "", "end", letters=11)]
    if bar.bytes_per_second is None:
        parts.append(label("not measured", 8, middle + 4, "chart-muted"))
    else:
        kind = "chart-bar-odd" if bar.odd else "chart-bar"
        parts.append(line(0, middle, across(bar.bytes_per_second / highest), middle, kind))
        parts.append(_figure(bar, middle))
    if bar.note:
        parts.append(label(bar.note, 8, y + _ROW + 4, "chart-muted", letters=60))
    return "".join(parts)


def _figure(bar: Bar, middle: float) -> str:
    """The rate stands beyond the plot, in line with the others."""
    words = format_rate(bar.bytes_per_second or 0.0)
    parts = [label(words, 76, 4, "", "end")]
    if bar.odd:
        parts.append(symbol(90, 0, DIAMOND, "chart-mark chart-major"))
        parts.append(label("odd", 100, 4, "chart-strong"))
    return element("svg", *parts, x="100%", y=middle, class_="chart-symbol")


def _expectation(chart: MemberBars, bottom: float, highest: float) -> str:
    if chart.expected_bytes_per_second is None:
        return ""
    share = chart.expected_bytes_per_second / highest
    x = across(share)
    words = f"expected {format_rate(chart.expected_bytes_per_second)}"
    anchor = "end" if share > 0.5 else "start"
    return line(x, _HEAD - 6, x, bottom, "chart-expected") + label(words, x, 14, "", anchor)


def _left_out(rest: Sequence[Bar]) -> str:
    rates = [bar.bytes_per_second for bar in rest if bar.bytes_per_second is not None]
    odd = sum(bar.odd for bar in rest)
    between = f", {format_rate(min(rates))} to {format_rate(max(rates))}" if rates else ""
    return f"not drawn: {len(rest)} more{between}, {odd or 'none'} of them odd"
