"""`arraygauge curve`: measured over predicted, by transfer size and queue depth."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import click
from rich.console import Console
from rich.text import Text

from arraygauge.cli.progress import progress_on
from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration
from arraygauge.probe.stop import StopToken
from arraygauge.service.curve import keep_curve, measure_curve
from arraygauge.service.probing import Manner
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import surveyor
from arraygauge.tell.curve import curve_table, is_measured
from arraygauge.tell.machine import curve_json
from arraygauge.theory import Access


@click.command()
@click.argument("device")
@click.option("--random", "is_random", is_flag=True, help="Random places instead of one stream.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_obj
def command(config_path: Path | None, device: str, is_random: bool, as_json: bool) -> None:
    """Read DEVICE, an array or a drive, at several transfer sizes and queue depths.

    Beside each figure stands what theory predicts from the members' own rates and the time
    that one small read takes them; what was measured is kept, and the page shows it. Raw
    devices are only ever read; it takes a second or two for each of about ten points.
    """
    access = Access.RANDOM if is_random else Access.SEQUENTIAL
    configuration, stop = load_configuration(config_path), StopToken()
    with (
        stopping_on_signals(stop),
        progress_on(sys.stderr) as progress,
        surveyor(configuration, stop, Manner.ASKED) as surveying,
    ):
        curve = measure_curve(surveying, device, access, progress)
        kept = keep_curve(curve, surveying.purse.history, time.time())
        notes = surveying.purse.notes
    if stop.is_set():
        click.echo("arraygauge: interrupted; the curve is not whole", err=True)
        sys.exit(Exit.RUNTIME_ERROR)
    for note in notes if kept else (*notes, f"{device}: the history cannot be written: not kept"):
        click.echo(f"arraygauge: {note}", err=True)
    points = [(p.workload, p.attempt, p.expectation, p.own_limit) for p in curve.points]
    if as_json:
        click.echo(curve_json(curve.name, points))
    else:
        console = Console(highlight=False)
        console.print(Text(f"{curve.name}: {curve.access} reads", "bold"))
        console.print(curve_table(points))
    sys.exit(Exit.FINE if any(map(is_measured, points)) else Exit.NOT_MEASURED)
