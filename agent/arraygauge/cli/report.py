"""`arraygauge report`: a page to print or hand over."""

from __future__ import annotations

import platform
import time
from datetime import datetime
from pathlib import Path

import click

from arraygauge.cli.records import existing_history
from arraygauge.config import load_configuration
from arraygauge.history.days import DAY_SECONDS
from arraygauge.service.grounds import grounds_of
from arraygauge.service.host_reader import host_reader

MOST_DAYS = 5 * 366


def since_seconds(text: str, now_seconds: float) -> float:
    """The moment '2026-11-01' or '2026-11-01T08:00' means, local time. Raises
    click.BadParameter."""
    try:
        moment = datetime.fromisoformat(text.strip()).timestamp()
    except (ValueError, OverflowError) as error:
        raise click.BadParameter(
            f"'{text}' is no date such as 2026-11-01", param_hint="--since"
        ) from error
    if not now_seconds - MOST_DAYS * DAY_SECONDS <= moment < now_seconds:
        raise click.BadParameter("it must lie in the past, within five years", param_hint="--since")
    return moment


@click.command()
@click.option(
    "--days",
    type=click.IntRange(1, MOST_DAYS),
    help="So many days up to now. Default: 30.",
)
@click.option("--since", metavar="DATE", help="From then up to now, such as 2026-11-01.")
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where to write it, '-' for standard output. Default: "
    "arraygauge-report-MACHINE-DATE.html here.",
)
@click.pass_obj
def command(
    config_path: Path | None, days: int | None, since: str | None, output: Path | None
) -> None:
    """Write one HTML file that says what the machine is, what its arrays should do and why,
    what was measured, what happened, and how that is known.

    Made from the history; nothing is measured ('check --report FILE' writes one of a pass made
    now). The file needs nothing beside itself and prints well: for a PDF, print it to one.
    """
    from arraygauge.service.report import (  # noqa: PLC0415 -- slow to import
        ReportAsked,
        report_document,
    )
    from arraygauge.service.report_file import write_report  # noqa: PLC0415

    if days is not None and since is not None:
        raise click.UsageError("give either --days or --since")
    configuration, now = load_configuration(config_path), time.time()
    begin = since_seconds(since, now) if since else now - (days or 30) * DAY_SECONDS
    machine = platform.node()
    path = output or Path(f"arraygauge-report-{_word(machine)}-{time.strftime('%Y-%m-%d')}.html")
    printed = str(path) == "-"
    if not printed:
        check_report_place(path)
    with existing_history() as history, host_reader() as hosts:
        host = hosts.read()
        html = report_document(
            ReportAsked(
                machine=machine,
                host=host,
                history=history,
                grounds=grounds_of(configuration, host),
                since_seconds=begin,
                until_seconds=now,
            )
        )
    if printed:
        click.echo(html, nl=False)
        return
    tell_written(path, replaced=write_report(path, html))


def check_report_place(path: Path) -> None:
    """Before anything is measured for it. Raises OperatorError."""
    from arraygauge.service.report_file import check_place  # noqa: PLC0415 -- slow to import

    check_place(path)


def tell_written(path: Path, *, replaced: bool) -> None:
    """On standard error, as what is printed elsewhere is the result."""
    how = "in place of the one before" if replaced else "it prints well"
    click.echo(f"Report written to {path}; {how}.", err=True)


def _word(name: str) -> str:
    """A machine's name as part of a file's."""
    return "".join(each if each.isalnum() or each in "-_" else "-" for each in name) or "machine"
