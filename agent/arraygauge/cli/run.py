"""`arraygauge run`: the daemon in the foreground."""

from __future__ import annotations

import os
import platform
import time
from pathlib import Path

import click

from arraygauge.config import load_configuration, state_directory
from arraygauge.errors import MachineTroubleError
from arraygauge.history import HistoryError, Ownership, own_history
from arraygauge.history.incident_log import logged_incidents
from arraygauge.history.ownership import OwnedError
from arraygauge.history.silences import silences_at
from arraygauge.judge import Status
from arraygauge.judge.passive import Watched
from arraygauge.probe.stop import StopToken
from arraygauge.service.daemon import Daemon, Setting
from arraygauge.service.keeper import Keeper
from arraygauge.service.notifier import Notifier
from arraygauge.service.probing import Manner
from arraygauge.service.purse import HISTORY_NAME
from arraygauge.service.signals import ending_by_force
from arraygauge.service.survey import Surveyor, surveyor
from arraygauge.tell.incident_json import incidents_json
from arraygauge.tell.passive_json import watching_document

SERVED_CLOSED = 50
"""How many incidents that are over are served besides the open ones."""
LAST_SECONDS = 1.7
"""After SIGTERM the process ends then, whatever it is held up by."""


@click.command()
@click.pass_obj
def command(config_path: Path | None) -> None:
    """Measure on a schedule, watch the kernel's events, tell what is the matter, and serve
    metrics and incidents on the loopback address, until SIGTERM. SIGHUP has it read the
    configuration again."""
    configuration, stop = load_configuration(config_path), StopToken()
    owner, journalled = _own(), goes_to_journal()
    ending_by_force(stop, LAST_SECONDS)
    with surveyor(configuration, stop, Manner.SCHEDULED) as surveying:
        for note in surveying.purse.notes:
            click.echo(f"arraygauge: {note}", err=True)
        purse, machine = surveying.purse, platform.node()
        scheme = "http" if configuration.exposure is None else "https"
        setting = Setting(
            surveyor=surveying,
            keeper=Keeper(purse.history, purse.clock, (), machine),
            machine_name=machine,
            load=lambda: load_configuration(config_path),
            stop=stop,
            incidents=lambda watched: _served(surveying, machine, watched),
            on_serving=lambda address: click.echo(
                f"Page at {scheme}://{address}/, metrics at {scheme}://{address}/metrics; "
                f"a pass every {configuration.run.interval_seconds:g} s. "
                "Ctrl-C or SIGTERM ends it.\n"
            ),
            on_status=lambda status: None if journalled else show(status),
            notifier=Notifier(),
        )
        left_behind = Daemon(setting).run()
    if owner is not None:
        owner.close()
    if left_behind:  # the interpreter's own end would wait for what they hold
        click.echo(f"arraygauge: left behind: {', '.join(left_behind)}", err=True)
        os._exit(0)


def goes_to_journal() -> bool:
    """Whether standard output is the journal's stream: systemd.exec(5), JOURNAL_STREAM. A table
    of every pass would be noise there; what is the matter is told there anyway."""
    given = os.environ.get("JOURNAL_STREAM", "")
    try:
        held = os.fstat(1)
    except OSError:
        return False
    return given == f"{held.st_dev}:{held.st_ino}"


def show(status: Status) -> None:
    """A pass for people."""
    from rich.console import Console  # noqa: PLC0415 -- 4 MB that a service need not have

    from arraygauge.tell.terminal import print_status  # noqa: PLC0415

    print_status(Console(highlight=False), status)


def _own() -> Ownership | None:
    """One agent for a history. None where no lock can be made: there is then no file either."""
    try:
        return own_history(state_directory() / HISTORY_NAME)
    except OwnedError as error:
        raise MachineTroubleError(error.message, error.remedy) from error
    except HistoryError:
        return None


def _served(surveying: Surveyor, machine: str, watched: tuple[Watched, ...]) -> str:
    history = surveying.purse.history
    return incidents_json(
        logged_incidents(history, SERVED_CLOSED),
        silences_at(history, time.time()),
        machine,
        watching_document(watched),
    )
