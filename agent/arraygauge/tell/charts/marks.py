"""Incidents on a chart over time: a lane above the plot, and a line down into it."""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.tell.charts.axes import Plot, Sign
from arraygauge.tell.charts.svg import (
    DIAMOND,
    DOT,
    SQUARE,
    TRIANGLE,
    across,
    element,
    line,
    symbol,
)
from arraygauge.tell.charts.values import Mark
from arraygauge.tell.moments import minute
from arraygauge.values import frozen

MOST_MARKS = 24
"""More are a blur: of those that lie close together the worst is drawn."""

_ORDER = ("critical", "major", "minor", "information")
_FIGURES = {"critical": TRIANGLE, "major": DIAMOND, "minor": SQUARE, "information": DOT}


@frozen
class Drawn:
    """Markup, what its signs mean, and how many marks could not be drawn."""

    markup: str
    signs: tuple[Sign, ...]
    left_out: int


def draw_marks(marks: Sequence[Mark], start: float, end: float, plot: Plot) -> Drawn:
    """Those that were going on between two moments."""
    seen = [mark for mark in marks if mark.at_seconds <= end and _until(mark, end) >= start]
    chosen = _chosen(seen, start, end)
    markup = "".join(_mark(mark, start, end, plot) for mark in chosen)
    words = sorted({_word(mark) for mark in chosen}, key=_ORDER.index)
    signs = tuple(Sign(figure=_figure(word), words=f"{word} incident") for word in words)
    return Drawn(markup=markup, signs=signs, left_out=len(seen) - len(chosen))


def _chosen(marks: Sequence[Mark], start: float, end: float) -> list[Mark]:
    """The worst of each place, in order of time."""
    if len(marks) <= MOST_MARKS:
        return sorted(marks, key=lambda each: each.at_seconds)
    worst: dict[int, Mark] = {}
    for mark in sorted(marks, key=lambda each: (_ORDER.index(_word(each)), each.at_seconds)):
        worst.setdefault(int(_share(mark.at_seconds, start, end) * (MOST_MARKS - 1)), mark)
    return [worst[place] for place in sorted(worst)]


def _mark(mark: Mark, start: float, end: float, plot: Plot) -> str:
    word = _word(mark)
    begin = across(_share(mark.at_seconds, start, end))
    last = across(_share(_until(mark, end), start, end))
    lane = plot.top - 18
    over = f"until {minute(mark.until_seconds)}" if mark.until_seconds else "not over"
    said = f"{word}: {mark.label}, {minute(mark.at_seconds)}, {over}"
    return (
        line(begin, lane, begin, plot.bottom, f"chart-mark-line chart-{word}")
        + line(begin, lane, last, lane, f"chart-mark-span chart-{word}")
        + symbol(begin, lane, _FIGURES[word], f"chart-mark chart-{word}", said)
    )


def _figure(word: str) -> str:
    return element("svg", _path(word), x=8, y=0, class_="chart-symbol")


def _path(word: str) -> str:
    return element("path", d=_FIGURES[word], class_=f"chart-mark chart-{word}")


def _word(mark: Mark) -> str:
    return mark.severity_word if mark.severity_word in _FIGURES else _ORDER[-1]


def _until(mark: Mark, end: float) -> float:
    return end if mark.until_seconds is None else mark.until_seconds


def _share(moment: float, start: float, end: float) -> float:
    return min(max((moment - start) / max(end - start, 1.0), 0.0), 1.0)
