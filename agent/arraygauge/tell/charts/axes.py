"""The frame of a plot: rates up its side, and what its signs mean below it."""

from __future__ import annotations

from arraygauge.tell.charts.svg import across, element, label, line
from arraygauge.tell.charts.ticks import Scale, megabytes
from arraygauge.values import frozen

LEGEND_ROW = 18.0


@frozen
class Plot:
    """Where the plot lies in its picture: pixels from ``top`` down, and its scale of rates."""

    top: float
    height: float
    rates: Scale

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def down(self, bytes_per_second: float) -> float:
        """Pixels from the top of the plot, never beyond it."""
        share = self.rates.share(bytes_per_second)
        return self.height * (1 - min(max(share, 0.0), 1.0))


def rate_axis(plot: Plot, unit_word: str) -> str:
    """Lines across at round rates, their numbers in the margin."""
    parts = [label(unit_word, -8, plot.top - 14, "chart-muted", "end", letters=12)]
    for tick in plot.rates.ticks:
        y = plot.top + plot.down(tick)
        class_ = "chart-base" if tick == plot.rates.low else "chart-grid"
        parts.append(line(0, y, "100%", y, class_))
        parts.append(label(megabytes(tick), -8, y + 4, "chart-muted", "end"))
    return "".join(parts)


def foot_label(share: float, words: str, y: float) -> str:
    """Below the plot, at a share of its width; kept from hanging out at its ends."""
    anchor = "start" if share < 0.06 else "end" if share > 0.94 else "middle"
    return label(words, across(share), y, "chart-muted", anchor)


@frozen
class Sign:
    """A sign and its meaning; ``figure`` is drawn around a point."""

    figure: str
    words: str


def legend(signs: list[Sign], y: float) -> str:
    """One below the other: so they fit a narrow page too."""
    parts = []
    for index, sign in enumerate(signs):
        row = y + index * LEGEND_ROW
        parts.append(element("svg", sign.figure, x=0, y=row - 4, class_="chart-symbol"))
        parts.append(label(sign.words, 26, row, letters=40))
    return "".join(parts)


def legend_height(count: int) -> float:
    return LEGEND_ROW * count
