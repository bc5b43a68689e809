"""`arraygauge check`: one pass now."""

from __future__ import annotations

import platform
import sys
from pathlib import Path

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.report import check_report_place, tell_written
from arraygauge.cli.status import exit_status
from arraygauge.config import load_configuration
from arraygauge.errors import OperatorError
from arraygauge.judge import Status
from arraygauge.probe.stop import StopToken
from arraygauge.service.grounds import unplaced_footage
from arraygauge.service.probing import Forecast, Manner
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import Surveyor, surveyor
from arraygauge.tell.machine import status_json
from arraygauge.tell.terminal import print_status
from arraygauge.units import format_capacity, format_duration


def _announce(forecast: Forecast) -> None:
    """On standard error: what is printed on standard output is the result."""
    if forecast.device_count:
        click.echo(
            f"Reading {forecast.device_count} drives and arrays: at most "
            f"{format_capacity(forecast.most_bytes)} and {format_duration(forecast.most_seconds)} "
            "in all, usually a quarter of it.",
            err=True,
        )
    if forecast.most_written_bytes:
        most = format_capacity(forecast.most_written_bytes)
        click.echo(f"Writing at most {most} to own files.", err=True)


def _report(surveying: Surveyor, status: Status, path: Path) -> None:
    from arraygauge.service.report import report_of_pass  # noqa: PLC0415 -- slow to import
    from arraygauge.service.report_file import write_report  # noqa: PLC0415

    html = report_of_pass(surveying, status, platform.node())
    tell_written(path, replaced=write_report(path, html))


@click.command(
    epilog="""
\b
Exit status:
  0  every array and drive does what it should, as far as that is known
  1  something went wrong in this program or its surroundings
  2  the command or the configuration is wrong
  3  an array or drive is short of its expected rate
  4  an array is degraded or broken
  5  something could not be measured, and nothing worse is known
"""
)
@click.argument("devices", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.option(
    "--regardless",
    is_flag=True,
    help="Measure even while others work, an array synchronises or the machine is on battery.",
)
@click.option(
    "--write",
    "writing",
    is_flag=True,
    help="Write as well, to the agent's own file in each directory of the configuration's "
    "write_probe.directories. Counted against the drives' endurance; never beyond the budget.",
)
@click.option(
    "--report",
    "report_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a report of this pass as one HTML file as well.",
)
@click.pass_obj
def command(
    config_path: Path | None,
    devices: tuple[str, ...],
    as_json: bool,
    regardless: bool,
    writing: bool,
    report_path: Path | None,
) -> None:
    """Measure once, compare with what theory allows, and say why if it falls short.

    Reads a second or a few of every drive and array, or only of the DEVICES named
    (an array stands for itself and its members). Raw devices are only ever read, and
    nothing is written unless you say --write.
    While others work on a drive it waits, and gives way within moments.
    """
    configuration = load_configuration(config_path)
    if writing and not configuration.write_probe.directories:
        raise OperatorError(
            "--write: the configuration names no directory to write to",
            "name one on each array in question as directories of [write_probe]",
        )
    if report_path is not None:
        check_report_place(report_path)
    stop = StopToken()
    with stopping_on_signals(stop), progress_on(sys.stderr) as progress:
        manner = Manner.REGARDLESS if regardless else Manner.ASKED
        with surveyor(configuration, stop, manner, writing=writing) as surveying:
            for note in surveying.purse.notes:
                click.echo(f"arraygauge: {note}", err=True)
            status = surveying.survey(devices, progress, _announce)
            for name in unplaced_footage(configuration, status.host):
                click.echo(f"arraygauge: [[footage]] names {name}: no such array here", err=True)
            not_kept = surveying.purse.not_kept
            if report_path is not None and not stop.is_set():
                _report(surveying, status, report_path)
    if not_kept is not None:
        click.echo(f"arraygauge: {not_kept}", err=True)
    if stop.is_set():
        click.echo("arraygauge: interrupted; nothing was judged", err=True)
        sys.exit(1)
    if as_json:
        click.echo(status_json(status))
    else:
        print_status(Console(highlight=False), status)
    sys.exit(exit_status(status))
