"""`arraygauge explain`: where an expectation comes from."""

from __future__ import annotations

import sys
from pathlib import Path

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.sizes import transfer_option
from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration
from arraygauge.probe.stop import StopToken
from arraygauge.service.explain import explain
from arraygauge.service.probing import Manner
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import surveyor
from arraygauge.tell.derivation import print_derivation
from arraygauge.tell.machine import derivations_json
from arraygauge.tell.outlook import print_prospects
from arraygauge.theory import Access, Direction, Workload


@click.command()
@click.argument("array")
@click.option("--random", "is_random", is_flag=True, help="Random places instead of one stream.")
@transfer_option
@click.option(
    "--depth", type=click.IntRange(1, 4096), default=16, show_default=True, help="In flight."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_obj
def command(
    config_path: Path | None, array: str, is_random: bool, transfer: int, depth: int, as_json: bool
) -> None:
    """Show what ARRAY should give and why: every resource and what would raise the figure.

    Members that the configuration does not rate are read for a few seconds each; the
    array itself is not touched.
    """
    access = Access.RANDOM if is_random else Access.SEQUENTIAL
    workloads = tuple(
        Workload(direction=direction, access=access, transfer_bytes=transfer, queue_depth=depth)
        for direction in Direction
    )
    configuration, stop = load_configuration(config_path), StopToken()
    with (
        stopping_on_signals(stop),
        progress_on(sys.stderr) as progress,
        surveyor(configuration, stop, Manner.ASKED) as surveying,
    ):
        found = explain(surveying, array, workloads, progress)
    if stop.is_set():
        click.echo("arraygauge: interrupted; nothing was derived", err=True)
        sys.exit(Exit.RUNTIME_ERROR)
    if as_json:
        click.echo(derivations_json(found.array, found.derivations, found.choices, found.prospects))
    else:
        console = Console(highlight=False)
        for workload, derivation in found.derivations:
            print_derivation(console, found.array, workload, derivation)
        if found.prospects is not None:
            print_prospects(console, found.array, found.choices, found.prospects)
    known = any(derivation is not None for _, derivation in found.derivations)
    sys.exit(Exit.FINE if known else Exit.NOT_MEASURED)
