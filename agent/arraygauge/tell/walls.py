"""What reading drives alone and together showed, for a person."""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import floor

from rich.console import Console
from rich.table import Table
from rich.text import Text

from arraygauge.inventory.values import Host
from arraygauge.probe.values import Attempt
from arraygauge.probe.wall_runs import WallReport
from arraygauge.tell.sentences import rate_with_uncertainty, wall_phrase, why_not
from arraygauge.theory.walls import Wall
from arraygauge.units import format_capacity, format_rate


def print_walls(
    console: Console, host: Host, attempts: Mapping[str, Attempt], report: WallReport | None
) -> None:
    """Each drive alone and with all others, then the limits they share, in words."""
    console.print(_rates(attempts, report))
    if report is None:
        console.print("Fewer than two drives gave a rate: nothing can be said of what they share.")
        return
    console.print()
    for line in _findings(report):
        console.print(Text(line))
    if declarations := _declarations(host, report):
        console.print("To have expectations know of it, add to the configuration:")
        console.print(Text(declarations), soft_wrap=True)
    runs = f"{len(report.runs)} run{'' if len(report.runs) == 1 else 's'}"
    console.print(
        Text(f"read together: {format_capacity(report.bytes_read)} in {runs}"), style="dim"
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
    if not wall.certain:
        return (
            f"Not certain, so not to be built on: {wall_phrase(wall)} together "
            f"({_sure(wall)} that this is not chance). Run it again on a quiet machine."
        )
    return f"{wall_phrase(wall)} together ({_sure(wall)} that this is not chance)."


def _sure(wall: Wall) -> str:
    """Rounded down: nothing measured is quite sure."""
    return f"{floor(1000 * min(wall.confidence, 0.999)) / 10:g} % sure"


def _declarations(host: Host, report: WallReport) -> str:
    """What was found as sections of the configuration, by names that outlast a reboot."""
    return "".join(
        f'\n[[uplink]]\nname = "found {number}"\n'
        f"devices = {json.dumps([_lasting_name(host, name) for name in sorted(wall.members)])}\n"
        f"read_mb_per_second = {wall.bytes_per_second / 1e6:.0f}\n"
        for number, wall in enumerate((each for each in report.walls if each.certain), start=1)
    )


def _lasting_name(host: Host, name: str) -> str:
    device = host.device(name)
    return device.stable_id if device is not None else name
