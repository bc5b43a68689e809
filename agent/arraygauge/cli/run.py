"""`arraygauge run`: the daemon in the foreground."""

from __future__ import annotations

import platform
import time
from pathlib import Path

import click
from rich.console import Console

from arraygauge.config import load_configuration, state_directory
from arraygauge.errors import MachineTroubleError
from arraygauge.history import HistoryError, Ownership, own_history
from arraygauge.history.incident_log import logged_incidents
from arraygauge.history.ownership import OwnedError
from arraygauge.history.silences import silences_at
from arraygauge.probe.stop import StopToken
from arraygauge.service.channels import ways_of
from arraygauge.service.daemon import Daemon
from arraygauge.service.keeper import Keeper
from arraygauge.service.probing import Manner
from arraygauge.service.purse import HISTORY_NAME
from arraygauge.service.survey import Surveyor, surveyor
from arraygauge.tell.incident_json import incidents_json
from arraygauge.tell.metrics import StatusCollector
from arraygauge.tell.terminal import print_status

SERVED_CLOSED = 50
"""How many incidents that are over are served besides the open ones."""


@click.command()
@click.pass_obj
def command(config_path: Path | None) -> None:
    """Measure on a schedule, watch the kernel's events, tell what is the matter, and serve
    metrics and incidents on the loopback address, until SIGTERM."""
    configuration, stop = load_configuration(config_path), StopToken()
    owner = _own()
    with surveyor(configuration, stop, Manner.SCHEDULED) as surveying:
        for note in surveying.purse.notes:
            click.echo(f"arraygauge: {note}", err=True)
        console = Console(highlight=False)
        ways = tuple(ways_of(configuration.journal, configuration.webhook, configuration.notify))
        purse, machine = surveying.purse, platform.node()
        Daemon(
            surveyor=surveying,
            keeper=Keeper(purse.history, purse.clock, ways, machine),
            section=configuration.run,
            stop=stop,
            collector=StatusCollector(),
            incidents=lambda: _served(surveying, machine),
            on_serving=lambda address: click.echo(
                f"Metrics at http://{address}/metrics, a pass every "
                f"{configuration.run.interval_seconds:g} s. Ctrl-C or SIGTERM ends it.\n"
            ),
            on_status=lambda status: print_status(console, status),
        ).run()
    if owner is not None:
        owner.close()


def _own() -> Ownership | None:
    """One agent for a history. None where no lock can be made: there is then no file either."""
    try:
        return own_history(state_directory() / HISTORY_NAME)
    except OwnedError as error:
        raise MachineTroubleError(error.message, error.remedy) from error
    except HistoryError:
        return None


def _served(surveying: Surveyor, machine: str) -> str:
    history = surveying.purse.history
    return incidents_json(
        logged_incidents(history, SERVED_CLOSED), silences_at(history, time.time()), machine
    )
