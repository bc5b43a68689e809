"""A measured curve beside the predicted one, for a person and for a script."""

from __future__ import annotations

from collections.abc import Iterable

from rich.table import Table
from rich.text import Text

from arraygauge.judge.pace import rate_of
from arraygauge.probe.values import Attempt
from arraygauge.tell.sentences import rate_with_uncertainty, why_not
from arraygauge.theory import Expectation, Workload
from arraygauge.units import format_binary, format_rate

Point = tuple[Workload, Attempt, Expectation | None, bool]
"""Workload, what was measured, what is expected, whether the agent may have set the pace."""


def curve_table(points: Iterable[Point]) -> Table:
    """One line a point; those marked may show the agent's own speed."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("transfer", justify="right")
    table.add_column("in flight", justify="right")
    table.add_column("measured", justify="right")
    table.add_column("predicted", justify="right")
    table.add_column("", overflow="fold")
    marked = tuple(points)
    for workload, attempt, expectation, own_limit in marked:
        said = rate_with_uncertainty(attempt)
        table.add_row(
            Text(format_binary(workload.transfer_bytes)),
            Text(str(workload.queue_depth)),
            Text(said or "not measured"),
            Text(_predicted(expectation)),
            Text(_remark(attempt, said, own_limit)),
        )
    if any(own_limit for *_, own_limit in marked):
        table.caption = "† the agent itself may set the pace here, not the drive"
        table.caption_justify = "left"
    return table


def is_measured(point: Point) -> bool:
    """Whether it has a rate that may be judged."""
    return rate_of(point[1]) is not None


def _predicted(expectation: Expectation | None) -> str:
    if expectation is None:
        return "unknown"
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    if floor >= 0.995 * ceiling:
        return format_rate(ceiling)
    return f"{format_rate(floor)} to {format_rate(ceiling)}"


def _remark(attempt: Attempt, said: str, own_limit: bool) -> str:
    if not said:
        return why_not(attempt)
    return "†" if own_limit else ""
