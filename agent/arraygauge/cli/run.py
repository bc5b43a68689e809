"""`arraygauge run`: the daemon in the foreground."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console

from arraygauge.config import load_configuration
from arraygauge.probe.stop import StopToken
from arraygauge.service.daemon import Daemon
from arraygauge.service.survey import surveyor
from arraygauge.tell.metrics import StatusCollector
from arraygauge.tell.terminal import print_status


@click.command()
@click.pass_obj
def command(config_path: Path | None) -> None:
    """Measure on a schedule and serve metrics on the loopback address, until SIGTERM."""
    configuration, stop = load_configuration(config_path), StopToken()
    console = Console(highlight=False)
    Daemon(
        surveyor=surveyor(configuration, stop),
        section=configuration.run,
        stop=stop,
        collector=StatusCollector(),
        on_serving=lambda address: click.echo(
            f"Metrics at http://{address}/metrics, a pass every "
            f"{configuration.run.interval_seconds:g} s. Ctrl-C or SIGTERM ends it.\n"
        ),
        on_status=lambda status: print_status(console, status),
    ).run()
