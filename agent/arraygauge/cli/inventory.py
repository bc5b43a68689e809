"""`arraygauge inventory`: what is there."""

from __future__ import annotations

import click
from rich.console import Console

from arraygauge.service.host_reader import host_reader
from arraygauge.tell.machine import host_json
from arraygauge.tell.tree import print_host


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
def command(as_json: bool) -> None:
    """Show arrays, drives and the links between them and the processor. Opens no device."""
    with host_reader() as hosts:
        host = hosts.read()
    if as_json:
        click.echo(host_json(host))
    else:
        print_host(Console(highlight=False), host)
