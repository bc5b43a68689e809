"""What reading drives alone and together showed, for a person."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Console
from rich.table import Table
from rich.text import Text

from arraygauge.probe.values import Attempt
from arraygauge.probe.wall_finding import WallReport
from arraygauge.tell.sentences import rate_with_uncertainty, wall_phrase, why_not
from arraygauge.theory.walls import Wall
from arraygauge.units import format_capacity, format_rate


def print_walls(
    console: Console, attempts: Mapping[str, Attempt], report: WallReport | None
) -> None:
    """Each drive alone and with all others, then the limits they share, in words."""
    console.print(_rates(attempts, report))
    if report is None:
        console.print("Fewer than two drives gave a rate: nothing can be said of what they share.")
        return
    console.print()
    for line in _findings(report):
        console.print(Text(line))
    console.print(
        Text(f"read together: {format_capacity(report.bytes_read)} in {len(report.runs)} runs"),
        style="dim",
    )


def _rates(attempts: Mapping[str, Attempt], report: WallReport | None) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("drive")
    table.add_column("alone", justify="right")
    table.add_column("with all others", justify="right")
    together = report.runs[0].rates if report is not None and report.runs else {}
    for name, attempt in attempts.items():
        rate = together.get(name)
        table.add_row(
            Text(name),
            Text(rate_with_uncertainty(attempt) or why_not(attempt)),
            Text(format_rate(rate) if rate is not None else ""),
        )
    return table


def _findings(report: WallReport) -> list[str]:
    lines = [_finding(wall) for wall in report.walls]
    if not report.walls and not report.unresolved and report.ended_early is None:
        lines.append("No limit is shared: together each reads what it reads alone.")
    if report.unresolved:
        names = ", ".join(sorted(report.unresolved))
        lines.append(f"Slowed by something that these runs do not tell: {names}.")
    if report.ended_early is not None:
        lines.append(f"Ended early: {report.ended_early}.")
    return lines


def _finding(wall: Wall) -> str:
    """With what to write into the configuration, so that expectations know it from now on."""
    names = ", ".join(f'"{name}"' for name in sorted(wall.members))
    return (
        f"{wall_phrase(wall)} together ({wall.confidence:.0%} sure that this is not chance).\n"
        f'  To have expectations know it: [[uplink]] name = "found", devices = [{names}], '
        f"read_mb_per_second = {wall.bytes_per_second / 1e6:.0f}"
    )
