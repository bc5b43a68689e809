"""`arraygauge config`: is the file right, and what may be in one?"""

from __future__ import annotations

from pathlib import Path

import click

from arraygauge.config import load_configuration
from arraygauge.config.load import default_path
from arraygauge.config.reference import configuration_reference
from arraygauge.service.grounds import idle_declarations
from arraygauge.service.host_reader import host_reader
from arraygauge.tell.configuration import reference_markdown, reference_text


@click.group()
def command() -> None:
    """Tell every mistake of the configuration with its line; show all keys there are."""


@command.command(name="check")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def check(config_path: Path | None, file: Path | None) -> None:
    """Read FILE as the agent would, or the file that it reads, and tell every mistake.

    Declarations of drives, links and arrays that are not in this machine are told as well: they
    are no mistake, as a drive may be elsewhere, and often one. The exit status is 2 where there
    is a mistake, else 0.
    """
    chosen = file or config_path
    configuration = load_configuration(chosen)
    origin = chosen or default_path()
    if not origin.exists():
        click.echo(f"{origin}: there is none, so every default holds")
        return
    click.echo(f"{origin}: no mistake")
    with host_reader() as hosts:
        idle = idle_declarations(configuration, hosts.read())
    for declared in idle:
        click.echo(f"  {declared}: nothing of this machine is meant by it")


@command.command(name="reference")
@click.option("--markdown", is_flag=True, help="Print a page of tables instead of a file.")
def reference(markdown: bool) -> None:
    """Show every key with its meaning, kind and default, as a file in which all are comments."""
    sections = configuration_reference()
    click.echo(reference_markdown(sections) if markdown else reference_text(sections), nl=False)
