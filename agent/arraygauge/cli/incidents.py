"""`arraygauge incidents`: what is the matter, and what was."""

from __future__ import annotations

import platform
import time
from datetime import datetime

import click
from rich.console import Console

from arraygauge.cli.records import existing_history
from arraygauge.errors import OperatorError
from arraygauge.history import History
from arraygauge.history.incident_log import logged_incident, logged_incidents
from arraygauge.history.silences import end_silence, silence, silences_at
from arraygauge.tell.incident_json import incidents_json
from arraygauge.tell.incident_list import print_incidents
from arraygauge.tell.moments import minute

_UNITS = {"m": 60.0, "h": 3600.0, "d": 86400.0}
EVERYTHING = "all"


@click.group(invoke_without_command=True)
@click.option(
    "--past",
    type=click.IntRange(0, 10_000),
    default=10,
    show_default=True,
    help="How many that are over to show.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_context
def command(ctx: click.Context, past: int, as_json: bool) -> None:
    """Show open incidents with their reasons and what to do, and the latest that are over."""
    if ctx.invoked_subcommand is not None:
        return
    with existing_history() as history:
        incidents = logged_incidents(history, past)
        silences = silences_at(history, time.time())
    if as_json:
        click.echo(incidents_json(incidents, silences, platform.node()))
    else:
        print_incidents(Console(highlight=False), incidents, silences)


@command.command(name="silence")
@click.argument("which", metavar="NUMBER|all")
@click.option(
    "--until",
    metavar="TIME",
    help="A span such as 90m, 8h or 2d, or a local time such as 2026-11-30T08:00.",
)
@click.option("--end", "ending", is_flag=True, help="End the silence now instead.")
def silence_command(which: str, until: str | None, ending: bool) -> None:
    """Tell nobody of one incident's cause, or of anything, until a time.

    Everything is noted all the same. If it is still so at the end of the silence, the latest is
    told then.
    """
    if ending == (until is not None):
        raise click.UsageError("give either --until or --end")
    now = time.time()
    with existing_history() as history:
        cause_id = None if which == EVERYTHING else _cause_of(history, which)
        if until is None:
            found = end_silence(history, cause_id)
            click.echo("The silence is over." if found else "There was no silence.")
            return
        end = until_seconds(until, now)
        silence(history, cause_id, end, now)
    what = "anything" if cause_id is None else f"incident {which}"
    click.echo(f"Nobody is told of {what} until {minute(end)}.")


def _cause_of(history: History, which: str) -> str:
    incident = logged_incident(history, int(which)) if which.isdecimal() else None
    if incident is None:
        raise OperatorError(
            f"{which}: no incident has that number", "'arraygauge incidents' shows their numbers"
        )
    return incident.cause_id


def until_seconds(text: str, now_seconds: float) -> float:
    """The date that '8h' or '2026-11-30T08:00' means. Raises click.BadParameter."""
    span = text.strip()
    try:
        if span[-1:] in _UNITS:
            end = now_seconds + float(span[:-1]) * _UNITS[span[-1]]
        else:
            end = datetime.fromisoformat(span).timestamp()
    except (ValueError, OverflowError) as error:
        raise click.BadParameter(
            f"'{text}' is neither a span nor a time", param_hint="--until"
        ) from error
    if not now_seconds < end < now_seconds + 366 * 86400.0:
        raise click.BadParameter("it must end in the future, within a year", param_hint="--until")
    return end
