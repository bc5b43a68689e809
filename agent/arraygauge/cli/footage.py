"""`arraygauge footage`: what footage needs, and how much of it an array carries."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from arraygauge.cli.progress import progress_on
from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration
from arraygauge.config.footage import FootageSection, footage_asked_for
from arraygauge.judge import ArrayVerdict
from arraygauge.probe.stop import StopToken
from arraygauge.service.footage import carried_by
from arraygauge.service.probing import Manner
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import surveyor
from arraygauge.tell.footage_lists import catalogue_json
from arraygauge.tell.footage_terminal import print_carried, print_catalogue, print_need
from arraygauge.tell.machine import carried_json, need_json
from arraygauge.theory.footage import MOST_STREAMS

_NO_ARRAY = "(none)"


@click.command()
@click.argument("array", required=False)
@click.option("--codec", metavar="NAME", help="Such as 'ProRes HQ', 'VC-3 SQ' or 'DPX RGB 10 bit'.")
@click.option("--raster", metavar="SIZE", help="Such as 3840x2160, UHD or 1080.")
@click.option("--rate", metavar="FRAMES", help="Frames a second: 25, 23.976, 24000/1001.")
@click.option(
    "--megabits",
    type=click.FloatRange(0, 1e7, min_open=True),
    metavar="RATE",
    help="Its rate in Mb/s, instead of a codec.",
)
@click.option(
    "--streams",
    type=click.IntRange(1, MOST_STREAMS),
    metavar="N",
    help="How many are played at once.",
)
@click.option(
    "--headroom",
    type=click.FloatRange(0, 0.9),
    metavar="SHARE",
    help="Share of the array's rate to be left free. Default: 0.3",
)
@click.option("--transfer", metavar="SIZE", help="Read at once by a player. Default: 1 MiB")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
@click.pass_obj
def command(config_path: Path | None, /, array: str | None, as_json: bool, **options: Any) -> None:
    """Say what footage needs in Mb/s and MB/s, and how many streams ARRAY carries.

    Without options, codecs and pictures are listed with their sources. With ARRAY it is
    measured as by `check`, and the answer is for the array healthy, degraded and rebuilding;
    without a codec, for the footage that the configuration declares.
    """
    asked = _asked(array, options)
    if array is not None:
        _tell_carried(config_path, array, asked, as_json=as_json)
    elif asked is None:
        click.echo(catalogue_json()) if as_json else print_catalogue(Console(highlight=False))
    elif as_json:
        click.echo(need_json(asked.promise()))
    else:
        print_need(Console(highlight=False), asked.promise())


def _asked(array: str | None, options: dict[str, Any]) -> FootageSection | None:
    """None where nothing of it is said."""
    if not any(value is not None for value in options.values()):
        return None
    known = (options["codec"], options["raster"], options["rate"])
    by_codec = None not in known and options["megabits"] is None
    if not by_codec and (options["megabits"] is None or any(known)):
        raise click.UsageError("give --codec, --raster and --rate, or --megabits alone")
    names = {"rate": "frames_per_second", "megabits": "megabits_per_second"}
    names["transfer"] = "transfer_bytes"
    keys = {names.get(option, option): value for option, value in options.items()}
    return footage_asked_for(array=array or _NO_ARRAY, **keys)


def _tell_carried(
    config_path: Path | None, array: str, asked: FootageSection | None, *, as_json: bool
) -> None:
    configuration, stop = load_configuration(config_path), StopToken()
    with (
        stopping_on_signals(stop),
        progress_on(sys.stderr) as progress,
        surveyor(configuration, stop, Manner.ASKED) as surveying,
    ):
        verdict = carried_by(surveying, array, asked, progress)
    if stop.is_set():
        click.echo("arraygauge: interrupted; nothing was judged", err=True)
        sys.exit(Exit.RUNTIME_ERROR)
    if as_json:
        click.echo(carried_json(verdict))
    else:
        _print(verdict)
    known = all(each.carried for each in verdict.footage)
    sys.exit(Exit.FINE if known else Exit.NOT_MEASURED)


def _print(verdict: ArrayVerdict) -> None:
    console = Console(highlight=False)
    for promise in (each.promise for each in verdict.footage):
        print_need(console, promise)
    print_carried(console, verdict)
