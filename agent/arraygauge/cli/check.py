"""`arraygauge check`: one pass now."""

from __future__ import annotations

import sys
from pathlib import Path

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.status import exit_status
from arraygauge.config import load_configuration
from arraygauge.probe.stop import StopToken
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import surveyor
from arraygauge.tell.machine import status_json
from arraygauge.tell.terminal import print_status


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
@click.pass_obj
def command(config_path: Path | None, devices: tuple[str, ...], as_json: bool) -> None:
    """Measure once, compare with what theory allows, and say why if it falls short.

    Reads a few seconds of every drive and array, or only of the DEVICES named
    (an array stands for itself and its members). Raw devices are only ever read.
    """
    configuration = load_configuration(config_path)
    stop = StopToken()
    with stopping_on_signals(stop), progress_on(sys.stderr) as progress:
        status = surveyor(configuration, stop).survey(devices, progress)
    if stop.is_set():
        click.echo("arraygauge: interrupted; nothing was judged", err=True)
        sys.exit(1)
    if as_json:
        click.echo(status_json(status))
    else:
        print_status(Console(highlight=False), status)
    sys.exit(exit_status(status))
