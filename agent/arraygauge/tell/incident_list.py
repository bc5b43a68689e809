"""Incidents in the terminal: open ones whole, past ones a line each."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.history.incident_log import LoggedIncident
from arraygauge.history.silences import Silence, is_silent
from arraygauge.judge.findings import Severity
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.tell.moments import minute
from arraygauge.units import format_duration

_STYLES = {
    Severity.INFORMATION: "bold",
    Severity.MINOR: "bold yellow",
    Severity.MAJOR: "bold yellow",
    Severity.CRITICAL: "bold red",
}


def print_incidents(
    console: Console, incidents: Iterable[LoggedIncident], silences: Sequence[Silence]
) -> None:
    """Open ones with all that is known of them, then those that are over."""
    every = tuple(incidents)
    is_open = [each for each in every if each.closed_at_seconds is None]
    over = [each for each in every if each.closed_at_seconds is not None]
    if not is_open:
        console.print("Nothing is open.")
    for each in is_open:
        _print_open(console, each, silences)
    if over:
        console.print(Text("Past:", "bold"))
        for each in over:
            console.print(Text(_line(each)))
    for silence in silences:
        if silence.cause_id is None:
            console.print(
                Text(f"Nobody is told of anything until {minute(silence.until_seconds)}.")
            )


def _print_open(console: Console, incident: LoggedIncident, silences: Sequence[Silence]) -> None:
    word = SEVERITY_WORDS[incident.severity]
    quiet = "  (silent)" if is_silent(silences, incident.cause_id) else ""
    console.print(
        Text.assemble(
            (f"{incident.number}", "bold"),
            "  ",
            (word, _STYLES[incident.severity]),
            f"  {incident.headline}{quiet}",
        )
    )
    words = json.loads(incident.document)["words"]
    for paragraph in (words["seen"], words["reason"], words["meaning"]):
        if paragraph:
            console.print(Padding(Text(paragraph), (0, 0, 0, 4)))
    hints = Table.grid(padding=(0, 2))
    hints.add_column(style="dim")
    hints.add_column(overflow="fold")
    for label, key in (("next", "steps"), ("care", "cautions")):
        for each in words[key]:
            hints.add_row(label, Text(each))
    console.print(Padding(hints, (0, 0, 1, 4)))


def _line(incident: LoggedIncident) -> str:
    closed = incident.closed_at_seconds or incident.opened_at_seconds
    lasted = format_duration(max(0.0, closed - incident.opened_at_seconds))
    worst = SEVERITY_WORDS[incident.worst]
    return f"{incident.number:>5}  {minute(closed)}  {incident.headline} ({worst}, for {lasted})"
