"""`arraygauge demo`: an invented workstation, simulated, with time sped up."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console
from rich.text import Text

from arraygauge.errors import OperatorError
from arraygauge.history.incident_log import LoggedChange, logged_incidents
from arraygauge.probe.stop import StopToken
from arraygauge.service.demo.agent import InventedAgent
from arraygauge.service.demo.bays import configuration_of
from arraygauge.service.demo.clock import SimulatedClock
from arraygauge.service.demo.folder import BANNER, demo_history
from arraygauge.service.demo.serving import DemoServing
from arraygauge.service.signals import stopping_on_signals
from arraygauge.tell.incident_list import print_incidents
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.tell.moments import minute
from arraygauge.tell.terminal import print_status

PAST = 100
"""Incidents that are over and shown in the end: all of ten simulated years."""


@click.command()
@click.option(
    "--days",
    type=click.FloatRange(min=1, max=3660),
    default=365,
    show_default=True,
    help="Simulated days that pass as fast as they can, before anything else.",
)
@click.option(
    "--speed",
    "hours_per_second",
    type=click.FloatRange(min=0, max=240),
    default=6,
    show_default=True,
    help="Simulated hours in a second afterwards; at 0 time stands still then.",
)
@click.option("--no-serve", is_flag=True, help="Show how it went after those days, and end.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=9848,
    show_default=True,
    help="Where to serve, on 127.0.0.1 only.",
)
@click.option(
    "--keep",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Keep the simulated history in this new directory.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="What chance begins with.")
def command(
    days: float,
    hours_per_second: float,
    no_serve: bool,
    port: int,
    keep: Path | None,
    seed: int,
) -> None:
    """Simulate an invented workstation and show what an agent there would say.

    Thirteen invented drives in three arrays wear, warm, slow down, drop out and are rebuilt;
    their measurements go through the real verdicts, history and messages. No device of this
    machine is read and nobody is told anything. Serves until Ctrl-C.
    """
    stop, clock = StopToken(), SimulatedClock()
    console = Console(highlight=False)
    configuration = configuration_of(port)
    console.print(Text(f"{BANNER}. No device of this machine is read.", "bold"))
    with stopping_on_signals(stop), demo_history(keep) as history:
        agent = InventedAgent(
            history,
            configuration,
            clock,
            seed=seed,
            on_change=lambda change: console.print(_line(change), soft_wrap=True),
        )
        if no_serve:
            agent.live_until(days, stop)
            _show(console, agent)
        else:
            _serve(_bound(agent, stop), days, hours_per_second)
    if keep is not None:
        console.print(f"The simulated history is in {keep}.")


def _bound(agent: InventedAgent, stop: StopToken) -> DemoServing:
    """Raises OperatorError with a remedy that the demo knows."""
    try:
        return DemoServing(agent, stop)
    except OperatorError as error:
        raise OperatorError(
            error.message, "stop what uses it, or choose another with --port"
        ) from error


def _serve(serving: DemoServing, days: float, hours_per_second: float) -> None:
    click.echo(
        f"Served at http://{serving.address}/ until Ctrl-C. First {days:g} simulated days pass as "
        "fast as they can."
    )

    def say() -> None:
        on = f"From now on {hours_per_second:g} simulated hours pass in a second."
        click.echo(on if hours_per_second else "From now on simulated time stands still.")

    serving.run(days, hours_per_second / 24, say)


def _line(change: LoggedChange) -> Text:
    return Text(
        f"SIMULATED {minute(change.at_seconds)}  {SEVERITY_WORDS[change.severity]}: "
        f"{change.headline}"
    )


def _show(console: Console, agent: InventedAgent) -> None:
    """How it stands and what was."""
    console.print()
    console.print(Text(f"{BANNER}, as of {minute(agent.clock.wall_seconds)}", "bold"))
    if agent.status is not None:
        print_status(console, agent.status)
    console.print()
    console.print(Text(f"{BANNER}: incidents", "bold"))
    print_incidents(console, logged_incidents(agent.purse.history, PAST), ())
