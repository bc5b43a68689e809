"""The root command. Each subcommand is a module imported only when it is run, so that help
and mistakes answer at once."""

from __future__ import annotations

import importlib
import io
import sys

import click

from arraygauge import __version__
from arraygauge.errors import MachineTroubleError, OperatorError

_COMMANDS = {
    "accept-baseline": "Take what a device does now as usual, and end its drift.",
    "check": "Measure once, compare with what theory allows, and say why if it falls short.",
    "companion": "Show incidents as notifications on this desktop.",
    "config": "Tell every mistake of the configuration with its line; show all keys there are.",
    "curve": "Measure at several transfer sizes and depths, beside what theory predicts.",
    "demo": "Simulate an invented workstation and show what an agent there would say.",
    "explain": "Show what an array should give and why: every resource, and what would raise it.",
    "footage": "Say what footage needs, and how many streams of it an array carries.",
    "history": "Show what was measured before, with a small plot, and what is usual.",
    "incidents": "Show what is the matter and what was; keep it silent for a while.",
    "inventory": "Show arrays, drives and the links between them and the processor.",
    "plan": "Predict every sensible array of drives at hand or on paper, the best first.",
    "report": "Write a page to print or hand over: what is there, expected, measured, and why.",
    "run": "Measure on a schedule, watch, tell and serve metrics, until SIGTERM.",
    "tell-test": "Send a test message through every configured way of telling.",
    "trial": "Build arrays of blank spare drives, measure them, take them down. Erases the drives.",
    "walls": "Find which drives share a limit, by reading them alone and then together.",
}


class _Commands(click.Group):
    """Loads subcommands by name; turns an operator's mistake into a message and a remedy."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = importlib.import_module(
            f"arraygauge.cli.{cmd_name.replace('-', '_')}"
        ).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in _COMMANDS:
            from difflib import get_close_matches  # noqa: PLC0415 -- help is to be there at once

            if close := get_close_matches(args[0], _COMMANDS, n=1):
                ctx.fail(f"no command '{args[0]}'; did you mean '{close[0]}'?")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except OperatorError as error:
            click.echo(f"arraygauge: {error.message}\n  remedy: {error.remedy}", err=True)
            sys.exit(1 if isinstance(error, MachineTroubleError) else 2)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="arraygauge")
@click.option(
    "--config",
    "config_path",
    metavar="FILE",
    type=click.Path(dir_okay=False),
    help="Configuration file. Default: /etc/arraygauge/config.toml for root, else the XDG place.",
)
@click.pass_context
def main(ctx: click.Context, config_path: str | None) -> None:
    """Is this array doing what its drives, its bus and its level allow, and if not, why?"""
    if config_path is not None:
        from pathlib import Path  # noqa: PLC0415 -- help is to be there at once

        ctx.obj = Path(config_path)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without our characters shows '?'
