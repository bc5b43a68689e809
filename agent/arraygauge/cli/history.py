"""`arraygauge history`: what was measured before."""

from __future__ import annotations

import time

import click
from rich.console import Console

from arraygauge.cli.records import existing_history
from arraygauge.errors import UnknownDeviceError
from arraygauge.history.days import DAY_SECONDS, days_of
from arraygauge.history.measurements import find_device, known_devices, measurements_of
from arraygauge.tell.past import devices_json, history_json, print_known, print_past


@click.command()
@click.argument("name", required=False)
@click.option(
    "--days",
    type=click.FloatRange(min=0, min_open=True, max=100_000),
    default=90,
    show_default=True,
    help="How far to look back.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
def command(name: str | None, days: float, as_json: bool) -> None:
    """Show what was measured of NAME, an array or a drive, and how it changed.

    NAME is what the kernel calls it or its stable id; without one, all that were ever measured
    are listed. Nothing is measured now.
    """
    now = time.time()
    console = Console(highlight=False)
    with existing_history() as history:
        known = known_devices(history)
        if name is None:
            click.echo(devices_json(known)) if as_json else print_known(console, known, now)
            return
        device = find_device(known, name)
        if device is None:
            raise UnknownDeviceError(
                f"{name}: never measured, as far as is kept",
                "'arraygauge history' lists what was",
            )
        since = now - days * DAY_SECONDS
        summaries = tuple(days_of(history, device.stable_id, since))
        records = measurements_of(history, device.stable_id, since)
    if as_json:
        click.echo(history_json(device, summaries, records))
    else:
        print_past(console, device, summaries, records)
