"""`arraygauge trial`: options built on blank spare drives, measured, and taken down."""

from __future__ import annotations

import os
import select
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.sizes import bytes_of, depth_option, members_option, transfer_option
from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration, state_directory
from arraygauge.history import HistoryError, open_history
from arraygauge.history.trials import keep_trials
from arraygauge.inventory.values import Level
from arraygauge.probe.stop import StopToken
from arraygauge.service.grounds import endurance_of, grounds_of
from arraygauge.service.host_reader import HostReader
from arraygauge.service.purse import HISTORY_NAME
from arraygauge.service.signals import stopping_on_signals
from arraygauge.tell.trial import print_erasure, print_trial, time_phrase
from arraygauge.tell.trial_json import trial_json
from arraygauge.theory import Direction, Workload
from arraygauge.theory.plan import Asked, Scope
from arraygauge.trial.door import Pasts, Request, Showing, hold_trial
from arraygauge.trial.terms import Terms
from arraygauge.units import KIB, MIB

HOST_SECONDS = 60.0
"""A person waits, and a machine that is slow today is no machine that hangs."""
_LEVELS = tuple(str(level) for level in Scope().levels)


def _chunks(ctx: click.Context, param: click.Parameter, values: tuple[str, ...]) -> tuple[int, ...]:
    return tuple(_chunk(value) for value in values)


def _chunk(value: str) -> int:
    size = bytes_of(value)
    if size < 4 * KIB or size & (size - 1):
        raise click.BadParameter(f"'{value}': a chunk is a power of two of at least 4 KiB")
    return size


def _most_bytes(ctx: click.Context, param: click.Parameter, value: str) -> int:
    size = bytes_of(value)
    if size < 16 * MIB:
        raise click.BadParameter(f"'{value}': at least 16 MiB, or there is nothing to time")
    return size


def _asking(stop: StopToken) -> Callable[[str], str]:
    """Questions on standard error, as the rest of the talk; answers from a terminal or a pipe,
    an empty one at its end and when told to stop."""

    def ask(question: str) -> str:
        click.echo(f"{question}: ", nl=False, err=True)
        typed = b""
        while not typed.endswith(b"\n"):
            ready, _, _ = select.select([stop.fileno(), 0], [], [])
            piece = b"" if stop.fileno() in ready else os.read(0, 1)
            if not piece:
                click.echo(err=True)
                break
            typed += piece
        return typed.decode(errors="replace")

    return ask


@click.command()
@click.argument("drives", nargs=-1, metavar="STABLE_ID...")
@click.option(
    "--level",
    "levels",
    multiple=True,
    type=click.Choice(_LEVELS),
    help="Only this level; may be given again. Default: all.",
)
@members_option
@click.option(
    "--chunk",
    "chunks",
    multiple=True,
    callback=_chunks,
    metavar="SIZE",
    help="Only this chunk; may be given again. Default: 32 KiB to 1 MiB.",
)
@click.option(
    "--seconds",
    type=click.FloatRange(0.5, 600),
    default=6.0,
    show_default=True,
    help="How long each option is written, and how long it is read.",
)
@click.option(
    "--places",
    type=click.IntRange(1, 64),
    default=6,
    show_default=True,
    help="At how many places, spread over the array; six or more give an interval.",
)
@click.option(
    "--most",
    "most_bytes",
    callback=_most_bytes,
    default="8 GiB",
    show_default=True,
    metavar="SIZE",
    help="User data written, and read, of each option at most.",
)
@transfer_option
@depth_option
@click.option("--anew", is_flag=True, help="Do not go on with an unfinished trial; begin again.")
@click.option("--dry-run", is_flag=True, help="Show what would be erased and written; no more.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_obj
def command(
    config_path: Path | None,
    drives: tuple[str, ...],
    levels: tuple[str, ...],
    members: tuple[int, ...],
    chunks: tuple[int, ...],
    seconds: float,
    places: int,
    most_bytes: int,
    transfer: int,
    depth: int,
    anew: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Build every sensible array of blank spare drives, measure it, take it down: ERASES THEM.

    Each drive is named by its stable id ('arraygauge inventory' shows it). A drive that is in
    any use, or carries a filesystem, a partition or any other known signature, is refused; one
    that holds anything else is erased only after its serial number was typed. Ctrl-C ends it and
    leaves no array; the same command goes on with what is left.

    Exit status: 0 done, 1 ended early or the machine's fault, 2 refused, 5 nothing measured.
    """
    configuration, stop = load_configuration(config_path), StopToken()
    console = Console(stderr=True, highlight=False)
    usual = Scope()
    request = Request(
        names=drives,
        scope=Scope(
            levels=tuple(map(Level, levels)) or usual.levels,
            chunks=chunks or usual.chunks,
            widths=members or None,
        ),
        terms=Terms(
            seconds=seconds,
            places=places,
            most_bytes=most_bytes,
            asked=Asked(
                read=_workload(Direction.READ, transfer, depth),
                write=_workload(Direction.WRITE, transfer, depth),
            ),
        ),
        anew=anew,
        dry_run=dry_run,
    )

    def show(showing: Showing) -> None:
        print_erasure(console, showing.drives, showing.options)
        for note in showing.notes:
            click.echo(note, err=True)
        if showing.options:
            click.echo(f"It takes {time_phrase(showing.seconds)}.", err=True)

    with stopping_on_signals(stop), closing(HostReader(deadline_seconds=HOST_SECONDS)) as hosts:
        telling = hold_trial(
            request,
            directory=state_directory(),
            read_host=hosts.read,
            board_of=lambda host: grounds_of(configuration, host).board,
            endurance_of=lambda host: endurance_of(configuration, host),
            stop=stop,
            show=show,
            ask=_asking(stop),
            progress=lambda: progress_on(sys.stderr),
            keep=_keep,
        )
    if telling is None:
        return
    if as_json:
        click.echo(trial_json(telling))
    else:
        print_trial(Console(highlight=False), telling)
    if not telling.finished:
        click.echo("arraygauge: ended early; no array is left", err=True)
        sys.exit(Exit.RUNTIME_ERROR)
    measured = any(each.trialled.whole for each in telling.compared)
    sys.exit(Exit.FINE if measured else Exit.NOT_MEASURED)


def _keep(pasts: Pasts) -> None:
    """As the past of the arrays that may be built now; a history that cannot be had costs no
    result, which is in the trial's own record."""
    try:
        with open_history(state_directory() / HISTORY_NAME) as history:
            keep_trials(history, pasts, time.time())
    except HistoryError as error:
        click.echo(f"arraygauge: {error.message}; {error.remedy}", err=True)


def _workload(direction: Direction, transfer: int, depth: int) -> Workload:
    return Workload(direction=direction, transfer_bytes=transfer, queue_depth=depth)
