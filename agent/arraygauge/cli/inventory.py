"""`arraygauge inventory`: what is there."""

from __future__ import annotations

import click
from rich.console import Console

from arraygauge.inventory.host import read_host
from arraygauge.tell.machine import host_json
from arraygauge.tell.tree import print_host


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
def command(as_json: bool) -> None:
    """Show arrays, drives and the links between them and the processor. Opens no device."""
    host = read_host()
    if as_json:
        click.echo(host_json(host))
    else:
        print_host(Console(highlight=False), host)
