"""`arraygauge walls`: which drives share a limit."""

from __future__ import annotations

import sys
from pathlib import Path

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration
from arraygauge.probe.stop import StopToken
from arraygauge.service.probing import Forecast, Manner
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import surveyor
from arraygauge.service.walls import find_walls
from arraygauge.tell.machine import walls_json
from arraygauge.tell.walls import print_walls
from arraygauge.units import format_capacity


def _announce(forecast: Forecast) -> None:
    """On standard error: what is printed on standard output is the result."""
    click.echo(
        f"Reading {forecast.device_count} drives, each alone: at most "
        f"{format_capacity(forecast.most_bytes)} in all, usually a quarter of it; "
        "then together, no more than that again.",
        err=True,
    )


@click.command()
@click.argument("devices", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_obj
def command(config_path: Path | None, devices: tuple[str, ...], as_json: bool) -> None:
    """Read DEVICES alone and then together, and say which of them share a limit.

    An array stands for its members; without DEVICES all drives are read. It shows links,
    ports and controllers that no file of the kernel shows, and what they carry. Raw devices
    are only ever read, for a second or a few each and then for parts of a second together.
    """
    configuration, stop = load_configuration(config_path), StopToken()
    with (
        stopping_on_signals(stop),
        progress_on(sys.stderr) as progress,
        surveyor(configuration, stop, Manner.ASKED) as surveying,
    ):
        found = find_walls(surveying, devices, progress, _announce)
    if stop.is_set():
        click.echo("arraygauge: interrupted; nothing was found", err=True)
        sys.exit(Exit.RUNTIME_ERROR)
    if as_json:
        click.echo(walls_json(found.attempts, found.report))
    else:
        print_walls(Console(highlight=False), found.host, found.attempts, found.report)
    sys.exit(Exit.FINE if found.report is not None else Exit.NOT_MEASURED)
