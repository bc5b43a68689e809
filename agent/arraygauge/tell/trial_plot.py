"""Bars of what was measured over what was predicted, for each level and number of drives."""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Compared
from arraygauge.theory.values import Expectation
from arraygauge.units import format_rate

BAR, BAND, FLOOR, CEILING = "█", "░", "├", "┤"


def plot_of(compared: Sequence[Compared], width: int, *, of_writes: bool) -> list[str]:
    """One line a level and number of drives, of its chunks the one that measured best; all
    lines in one scale from nought. Empty where nothing was measured."""
    best = _best(compared, of_writes=of_writes)
    if not best:
        return []
    names = [_name(each) for each in best]
    label = max(map(len, names))
    top = max(
        max(figure.rate, _band(each, of_writes).ceiling_bytes_per_second)
        for each in best
        if (figure := _figure(each, of_writes)) is not None
    )
    cells = max(10, width - label - 14)
    lines = []
    for name, each in zip(names, best, strict=True):
        figure = _figure(each, of_writes)
        rate = figure.rate if figure is not None else 0.0
        bar = _bar(rate, _band(each, of_writes), top, cells)
        lines.append(f"{name:<{label}}  {bar} {format_rate(rate)}")
    return lines


def _figure(each: Compared, of_writes: bool) -> Figure | None:
    return each.trialled.write if of_writes else each.trialled.read


def _band(each: Compared, of_writes: bool) -> Expectation:
    return each.prediction.write if of_writes else each.prediction.read


def _best(compared: Sequence[Compared], *, of_writes: bool) -> list[Compared]:
    found: dict[tuple[object, int], Compared] = {}
    for each in compared:
        figure = _figure(each, of_writes)
        key = (each.trialled.option.family, each.trialled.option.width)
        known = found.get(key)
        rival = _figure(known, of_writes) if known is not None else None
        if figure is not None and (rival is None or figure.rate > rival.rate):
            found[key] = each
    return list(found.values())


def _name(each: Compared) -> str:
    option = each.trialled.option
    chunk = f" {option.chunk_bytes // 1024}K" if option.chunk_bytes else ""
    return f"{option.name} × {option.width}{chunk}"


def _bar(rate: float, band: Expectation, top: float, cells: int) -> str:
    """The band's edges are drawn over the bar, so that both are seen where they meet."""

    def at(value: float) -> int:
        return min(round(value / top * cells), cells)

    low, high = at(band.floor_bytes_per_second), at(band.ceiling_bytes_per_second)
    reach = at(rate)
    drawn = [BAR if cell < reach else BAND if low <= cell < high else " " for cell in range(cells)]
    line = "".join([*drawn, " "])
    line = line[:high] + CEILING + line[high + 1 :]
    if low < high:
        line = line[:low] + FLOOR + line[low + 1 :]
    return line
