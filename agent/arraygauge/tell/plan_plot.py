"""Reading over the number of drives, a mark for each level, and the wall they run into."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from arraygauge.inventory.values import Level
from arraygauge.theory.plan import Plan
from arraygauge.units import format_rate
from arraygauge.values import frozen

MARKS: Mapping[Level, str] = {
    Level.LINEAR: "L",
    Level.RAID0: "0",
    Level.RAID1: "1",
    Level.RAID10: "X",
    Level.RAID4: "4",
    Level.RAID5: "5",
    Level.RAID6: "6",
}
WALL = "─"


@frozen
class Wall:
    """What a link carries that all drives pass."""

    name: str
    bytes_per_second: float


def plot_of(plan: Plan, width: int, height: int) -> list[str]:
    """``height`` lines for the figure and two for the numbers below; empty where all options
    have as many drives. The best of each level and number, at its ceiling."""
    curves = _curves(plan)
    widths = sorted({count for curve in curves.values() for count in curve})
    if len(widths) < 2:
        return []
    walls = _walls(plan)
    most = max(rate for curve in curves.values() for rate in curve.values())
    near = [wall for wall in walls if wall.bytes_per_second <= 1.5 * most]
    top = 1.05 * max([most, *(wall.bytes_per_second for wall in near)])
    label_width = len(format_rate(top))
    room = width - label_width - 3 - max((len(wall.name) + 1 for wall in near), default=0)
    cell = max(2, min(6, room // len(widths)))
    shown = widths[: room // cell]
    lines = []
    for row in range(height):
        wall = next(
            (each for each in near if _row(each.bytes_per_second, top, height) == row), None
        )
        cells = "".join(
            _cell([MARKS[level] for level in _at(curves, count, row, top, height)], cell, wall)
            for count in shown
        )
        lines.append(
            f"{_label(row, top, height):>{label_width}} ┤{cells}{_wall_name(wall)}".rstrip()
        )
    numbers = "".join(
        f"{count if cell > 2 or at % 2 == 0 else '':<{cell}}" for at, count in enumerate(shown)
    )
    lines.append(" " * (label_width + 2) + numbers.rstrip())
    lines.append(" " * (label_width + 2) + _legend(curves))
    return lines


def _curves(plan: Plan) -> dict[Level, dict[int, float]]:
    curves: dict[Level, dict[int, float]] = {}
    for planned in plan.options:
        option, rate = planned.option, planned.prediction.read.ceiling_bytes_per_second
        curve = curves.setdefault(option.level, {})
        curve[option.width] = max(rate, curve.get(option.width, 0.0))
    return {level: curves[level] for level in MARKS if level in curves}


def _walls(plan: Plan) -> list[Wall]:
    names = {drive.name for drive in plan.supply.drives}
    return [
        Wall(name=link.name, bytes_per_second=link.read_bytes_per_second)
        for link in plan.supply.links
        if names <= set(link.members)
    ]


def _row(rate: float, top: float, height: int) -> int:
    return min(height - 1, int((1 - rate / top) * height))


def _at(
    curves: Mapping[Level, Mapping[int, float]], count: int, row: int, top: float, height: int
) -> list[Level]:
    return [
        level
        for level, curve in curves.items()
        if count in curve and _row(curve[count], top, height) == row
    ]


def _cell(marks: Sequence[str], cell: int, wall: Wall | None) -> str:
    """Marks that meet stand side by side; where they are too many, '+' for the rest."""
    room = cell - 1
    text = "".join(marks) if len(marks) <= room else "".join(marks[: room - 1]) + "+"
    return text.ljust(cell, WALL if wall else " ")


def _label(row: int, top: float, height: int) -> str:
    if row in (0, height // 2):
        return format_rate(top * (1 - row / height))
    return "0 MB/s" if row == height - 1 else ""


def _wall_name(wall: Wall | None) -> str:
    return f" {wall.name}" if wall is not None else ""


def _legend(curves: Mapping[Level, Mapping[int, float]]) -> str:
    marks = ", ".join(f"{MARKS[level]} {level}" for level in curves)
    return f"drives; the best reading of {marks}; + several"
