"""`arraygauge plan`: which array to make of the drives at hand, or on paper."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.sizes import depth_option, members_option, transfer_option
from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration
from arraygauge.config.plan_file import load_plan_file
from arraygauge.errors import OperatorError
from arraygauge.inventory.values import Level
from arraygauge.probe.stop import StopToken
from arraygauge.service.planning import Grounded, supply_here
from arraygauge.service.probing import Manner
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import surveyor
from arraygauge.tell.plan import MOST_COLUMNS, PlanTelling, print_plan
from arraygauge.tell.plan_json import plan_json
from arraygauge.theory import Access, Direction, Workload
from arraygauge.theory.plan import Asked, Scope, Supply, make_plan
from arraygauge.theory.plan_changes import (
    what_ifs,
    with_faster_drives,
    with_link_rate,
    with_one_more_port,
)
from arraygauge.units import format_rate

_LEVELS = tuple(str(level) for level in Level if level is not Level.UNKNOWN)
_USUAL_LEVELS = Scope().levels


def _link_rates(
    ctx: click.Context, param: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[str, float], ...]:
    """NAME=MB/s, as often as wanted."""
    found = []
    for value in values:
        name, equals, rate = value.rpartition("=")
        try:
            megabytes = float(rate) if equals and name else 0.0
        except ValueError:
            megabytes = 0.0
        if not 0 < megabytes < float("inf"):
            raise click.BadParameter(f"'{value}': write NAME=MB/s, such as chipset=7000")
        found.append((name, megabytes * 1e6))
    return tuple(found)


@click.command()
@click.argument("devices", nargs=-1)
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Plan drives on paper, by this small TOML file, instead of this machine's.",
)
@click.option(
    "--level",
    "levels",
    multiple=True,
    type=click.Choice(_LEVELS),
    help="Only this level; may be given again. Default: all but linear and raid4.",
)
@members_option
@click.option("--random", "is_random", is_flag=True, help="Random places instead of a stream.")
@transfer_option
@depth_option
@click.option(
    "--streams", type=click.IntRange(1, 64), default=1, show_default=True, help="Streams at once."
)
@click.option(
    "--what-if-link",
    "link_rates",
    multiple=True,
    callback=_link_rates,
    metavar="NAME=MB/s",
    help="Suppose a shared link carried so much each way.",
)
@click.option(
    "--what-if-port",
    "ports",
    multiple=True,
    metavar="NAME",
    help="Suppose a second one of this link, with half of its drives.",
)
@click.option(
    "--what-if-faster",
    "faster",
    type=click.FloatRange(0.01, 100),
    metavar="FACTOR",
    help="Suppose drives so many times as fast.",
)
@click.option("--all", "everything", is_flag=True, help="Show every option, also those beaten.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_obj
def command(
    config_path: Path | None,
    devices: tuple[str, ...],
    path: Path | None,
    levels: tuple[str, ...],
    members: tuple[int, ...],
    is_random: bool,
    transfer: int,
    depth: int,
    streams: int,
    link_rates: tuple[tuple[str, float], ...],
    ports: tuple[str, ...],
    faster: float | None,
    everything: bool,
    as_json: bool,
) -> None:
    """Predict every sensible array of DEVICES, or of the drives in a FILE, the best first.

    DEVICES are drives, partitions, or arrays, whose members are then taken; without any, all
    drives that carry no mounted filesystem. What they read is taken from the history, else from
    the configuration, else a few seconds are read of each. Nothing is written, and nothing is
    made. Exit status: 0 planned, 2 a wrong command or file, 5 too little known to plan.
    """
    if path is not None and devices:
        raise click.UsageError("name DEVICES or a --file, not both")
    found = _from_file(path) if path is not None else _from_here(config_path, devices)
    supply, supposed = _supposing(found.supply, link_rates, ports, faster)
    asked = Asked(
        read=_workload(Direction.READ, is_random, transfer, depth, streams),
        write=_workload(Direction.WRITE, is_random, transfer, depth, streams),
    )
    scope = Scope(levels=tuple(map(Level, levels)) or _USUAL_LEVELS, widths=members or None)
    plan = make_plan(supply, asked, scope)
    telling = PlanTelling(
        plan=plan,
        known_by=found.known_by,
        left_out=found.left_out,
        supposed=supposed,
        what_ifs=what_ifs(supply, plan.best[0].option, asked) if plan.best else (),
    )
    if as_json:
        click.echo(plan_json(telling))
    else:
        print_plan(_console(), telling, everything=everything)
    sys.exit(Exit.FINE if plan.best else Exit.NOT_MEASURED)


def _console() -> Console:
    """As wide as the terminal; a pipe has room for every column."""
    known = sys.stdout.isatty() or "COLUMNS" in os.environ
    return Console(highlight=False, width=None if known else MOST_COLUMNS)


def _workload(
    direction: Direction, is_random: bool, transfer: int, depth: int, streams: int
) -> Workload:
    return Workload(
        direction=direction,
        access=Access.RANDOM if is_random else Access.SEQUENTIAL,
        transfer_bytes=transfer,
        queue_depth=depth,
        streams=streams,
    )


def _from_file(path: Path) -> Grounded:
    return Grounded(supply=load_plan_file(path).supply(), known_by={}, left_out=())


def _from_here(config_path: Path | None, devices: tuple[str, ...]) -> Grounded:
    configuration, stop = load_configuration(config_path), StopToken()
    with (
        stopping_on_signals(stop),
        progress_on(sys.stderr) as progress,
        surveyor(configuration, stop, Manner.ASKED) as surveying,
    ):
        found = supply_here(surveying, devices, progress)
    if stop.is_set():
        click.echo("arraygauge: interrupted; nothing was planned", err=True)
        sys.exit(Exit.RUNTIME_ERROR)
    return found


def _supposing(
    supply: Supply,
    link_rates: tuple[tuple[str, float], ...],
    ports: tuple[str, ...],
    faster: float | None,
) -> tuple[Supply, tuple[str, ...]]:
    """The supply as it would be, and in words how that differs from what it is."""
    words = []
    known = [link.name for link in supply.links]
    for name in (*(name for name, _ in link_rates), *ports):
        if name not in known:
            raise OperatorError(
                f"{name}: there is no such link", f"there is {', '.join(known) or 'none'}"
            )
    for name, rate in link_rates:
        supply = with_link_rate(supply, name, rate)
        words.append(f"{name} carries {format_rate(rate)}")
    for name in ports:
        supply = with_one_more_port(supply, name)
        words.append(f"a second {name}, with half of its drives")
    if faster is not None:
        supply = with_faster_drives(supply, faster)
        words.append(f"drives {faster:g} times as fast")
    return supply, tuple(words)
