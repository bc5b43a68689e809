"""What was expected at each time, behind a rate over time: steps, because an expectation holds
until something about the array changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import groupby, pairwise

from arraygauge.tell.charts.axes import Plot, Sign
from arraygauge.tell.charts.svg import STRETCH, element, line, number
from arraygauge.tell.charts.thinning import Run
from arraygauge.tell.charts.values import Band, TimePoint
from arraygauge.units import format_rate
from arraygauge.values import frozen

LEAST_WIDTH = STRETCH / 100
"""What a single measurement's expectation is drawn over, to be seen."""
_AS_BEFORE = 0.01
"""An expectation that moved by so little is not a step: a pass's own readings of the members
make that much."""


@frozen
class _Step:
    """From one place across to another, in units of ``STRETCH``."""

    start: float
    end: float
    band: Band


def draw_expected(
    runs: Sequence[Run], plot: Plot, units: Callable[[float], float]
) -> Iterator[str]:
    """Areas, then their edges; ``units`` gives a moment's place across."""
    stairs = [flight for run in runs for flight in _flights(run, units)]
    for flight in stairs:
        tops = [(s, plot.down(s.band.ceiling_bytes_per_second)) for s in flight]
        bottoms = [(s, plot.down(s.band.floor_bytes_per_second)) for s in flight]
        there = _along(tops)
        back = [place for step in reversed(bottoms) for place in reversed(_along([step]))]
        yield element("path", d=f"M{'L'.join((*there, *back))}z", class_="chart-band")
    edges = "".join(
        f"M{'L'.join(_along([(s, plot.down(rate(s.band))) for s in flight]))}"
        for flight in stairs
        for rate in (_floor, _ceiling)
    )
    if edges:
        yield element("path", d=edges, class_="chart-band-edge")


def _floor(band: Band) -> float:
    return band.floor_bytes_per_second


def _ceiling(band: Band) -> float:
    return band.ceiling_bytes_per_second


def _along(steps: Sequence[tuple[_Step, float]]) -> list[str]:
    return [
        f"{number(across)} {number(down)}"
        for step, down in steps
        for across in (step.start, step.end)
    ]


def _flights(run: Run, units: Callable[[float], float]) -> Iterator[list[_Step]]:
    """Of points that follow each other and have an expectation: each one's reaches half of the
    way to its neighbours."""
    for banded, points in groupby(run, key=lambda point: point.expected is not None):
        if banded:
            yield _merged(_steps(list(points), units))


def _steps(points: Sequence[TimePoint], units: Callable[[float], float]) -> list[_Step]:
    places = [units(point.at_seconds) for point in points]
    if len(places) == 1:
        edges = [places[0] - LEAST_WIDTH / 2, places[0] + LEAST_WIDTH / 2]
    else:
        edges = [places[0], *(sum(pair) / 2 for pair in pairwise(places)), places[-1]]
    return [
        _Step(start=max(0.0, start), end=min(STRETCH, end), band=point.expected)
        for point, (start, end) in zip(points, pairwise(edges), strict=True)
        if point.expected is not None
    ]


def _merged(steps: Sequence[_Step]) -> list[_Step]:
    found: list[_Step] = []
    for step in steps:
        if found and _is_alike(found[-1].band, step.band):
            found[-1] = _Step(start=found[-1].start, end=step.end, band=found[-1].band)
        else:
            found.append(step)
    return found


def _is_alike(one: Band, other: Band) -> bool:
    return all(
        abs(rate(one) - rate(other)) <= _AS_BEFORE * rate(other) for rate in (_floor, _ceiling)
    )


def expected_sign(runs: Sequence[Run]) -> Iterator[Sign]:
    """Its entry in the legend, with the latest in words."""
    last = next((p.expected for run in reversed(runs) for p in reversed(run) if p.expected), None)
    if last is not None:
        figure = element("rect", x=0, y=-5, width=18, height=10, class_="chart-band")
        edges = line(0, -5, 18, -5, "chart-band-edge") + line(0, 5, 18, 5, "chart-band-edge")
        yield Sign(figure=figure + edges, words=f"expected then, last {_words(last)}")


def _words(band: Band) -> str:
    low, high = band.floor_bytes_per_second, band.ceiling_bytes_per_second
    if low > 0.995 * high:
        return format_rate(high)
    return f"{format_rate(low).removesuffix(' MB/s')} to {format_rate(high)}"
