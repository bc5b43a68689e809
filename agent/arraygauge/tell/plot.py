"""A small plot in the terminal: points as braille dots over the band that was expected."""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.tell.moments import minute
from arraygauge.units import format_rate
from arraygauge.values import frozen

_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Bits of a braille cell by row and column (Unicode Standard, block U+2800)."""
_BLANK = 0x2800
BAND = "░"
EDGE_SHARE = 0.08


@frozen
class Point:
    """A rate in bytes per second at a date, seconds since 1970, and what was expected then."""

    at_seconds: float
    rate: float
    floor: float | None = None
    ceiling: float | None = None


def plot(points: Sequence[Point], width: int, height: int) -> list[str]:
    """Lines of text, ``height`` of them for the figure and one for the dates below it.

    Each cell holds two by four points. A band without points in it is shaded. Empty where
    there is nothing to show.
    """
    if not points:
        return []
    low, high = _span(points)
    labels = [format_rate(high), format_rate((low + high) / 2), format_rate(low)]
    margin = max(map(len, labels)) + 2
    columns = max(10, width - margin)
    canvas = _Canvas(columns=columns, rows=height, low=low, high=high, points=points)
    at_row = {0: labels[0], height // 2: labels[1], height - 1: labels[2]}
    lines = [
        f"{at_row.get(row, ''):>{margin - 2}} ┤{text}" for row, text in enumerate(canvas.lines())
    ]
    first, last = minute(canvas.begin), minute(canvas.end)
    gap = max(1, columns - len(first) - len(last))
    return [*lines, " " * margin + first + " " * gap + last]


def _span(points: Sequence[Point]) -> tuple[float, float]:
    """From nought where rates differ much, so that small differences are not made to look big."""
    values = [each.rate for each in points]
    values += [each.floor for each in points if each.floor is not None]
    values += [each.ceiling for each in points if each.ceiling is not None]
    low, high = min(values), max(values)
    edge = max((high - low) * EDGE_SHARE, high * 0.02, 1.0)
    return (0.0 if low < high / 3 else max(0.0, low - edge)), high + edge


class _Canvas:
    def __init__(
        self, *, columns: int, rows: int, low: float, high: float, points: Sequence[Point]
    ) -> None:
        self.begin = min(each.at_seconds for each in points)
        self.end = max(each.at_seconds for each in points)
        self._columns, self._rows = columns, rows
        self._low, self._high = low, high
        self._cells = [[0] * columns for _ in range(rows)]
        self._shaded = [[False] * columns for _ in range(rows)]
        for point in sorted(points, key=lambda each: each.at_seconds):
            self._shade(point)
            self._dot(point)
        self._fill_gaps({self._dot_column(each) // 2 for each in points})

    def lines(self) -> list[str]:
        return [
            "".join(
                chr(_BLANK + bits) if bits else (BAND if shaded else " ")
                for bits, shaded in zip(cells, marks, strict=True)
            )
            for cells, marks in zip(self._cells, self._shaded, strict=True)
        ]

    def _dot(self, point: Point) -> None:
        column, row = self._dot_column(point), self._dot_row(point.rate)
        self._cells[row // 4][column // 2] |= _DOTS[row % 4][column % 2]

    def _shade(self, point: Point) -> None:
        """The band of the last point of a column stands for the column."""
        if point.floor is None or point.ceiling is None:
            return
        column = self._dot_column(point) // 2
        top, bottom = self._dot_row(point.ceiling) // 4, self._dot_row(point.floor) // 4
        for row in range(self._rows):
            self._shaded[row][column] = top <= row <= bottom

    def _fill_gaps(self, known: set[int]) -> None:
        """Between two points the band before goes on."""
        for column in range(1, self._columns):
            if column not in known:
                for marks in self._shaded:
                    marks[column] = marks[column - 1]

    def _dot_column(self, point: Point) -> int:
        span = self.end - self.begin
        share = (point.at_seconds - self.begin) / span if span else 0.0
        return min(int(share * self._columns * 2), self._columns * 2 - 1)

    def _dot_row(self, rate: float) -> int:
        share = (self._high - rate) / (self._high - self._low)
        return max(0, min(int(share * self._rows * 4), self._rows * 4 - 1))
