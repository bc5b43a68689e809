"""`arraygauge history`: what was measured before, and which drives stalled."""

from __future__ import annotations

import time

import click
from rich.console import Console

from arraygauge.cli.records import existing_history
from arraygauge.errors import UnknownDeviceError
from arraygauge.history import History
from arraygauge.history.days import DAY_SECONDS, days_of
from arraygauge.history.drift_rows import recall_drift
from arraygauge.history.measurements import find_device, known_devices, measurements_of
from arraygauge.history.stalls import stalls_of
from arraygauge.history.trials import has_trials, shape_of, trial_of
from arraygauge.judge.past_trial import PastTrial
from arraygauge.service.grounds import array_called
from arraygauge.service.host_reader import host_reader
from arraygauge.tell.baselines import print_watched, watch_words, watched_document, watched_of
from arraygauge.tell.past import devices_json, history_json, print_known, print_past
from arraygauge.tell.stall_list import print_stalls
from arraygauge.tell.trial_past import past_trial_document, print_past_trial


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
    """Show what was measured of NAME, an array or a drive, how it changed and what is usual.

    NAME is what the kernel calls it or its stable id; without one, all that were ever measured
    are listed, and the latest stalls of all drives. Nothing is measured now.
    """
    now = time.time()
    console = Console(highlight=False)
    with existing_history() as history:
        known = known_devices(history)
        watched = recall_drift(history).watched
        since = now - days * DAY_SECONDS
        if name is None:
            stalls = stalls_of(history, None, since)
            if as_json:
                click.echo(devices_json(known, stalls))
            else:
                print_known(console, known, now, watch_words(watched))
                print_stalls(console, stalls)
            return
        past = _trial_of(history, name)
        device = find_device(known, name)
        if device is None and past is not None and not as_json:
            print_past_trial(console, past)
            return
        if device is None:
            raise UnknownDeviceError(
                f"{name}: never measured, as far as is kept",
                "'arraygauge history' lists what was",
            )
        summaries = tuple(days_of(history, device.stable_id, since))
        records = measurements_of(history, device.stable_id, since)
        stalls = stalls_of(history, device.stable_id, since)
    if as_json:
        own = watched_document(watched_of(watched, device.stable_id))
        click.echo(
            history_json(device, summaries, records, stalls, own, trial=past_trial_document(past))
        )
    else:
        print_past(console, device, summaries, records)
        print_past_trial(console, past)
        print_watched(console, watched_of(watched, device.stable_id))
        print_stalls(console, stalls)


def _trial_of(history: History, name: str) -> PastTrial | None:
    """What a trial measured of an array that is there now, before it was built; the machine is
    only looked at where there ever was a trial."""
    if not has_trials(history):
        return None
    with host_reader() as hosts:
        host = hosts.read()
    array = array_called(host, name)
    shape = shape_of(host, array) if array is not None else None
    return trial_of(history, shape) if shape is not None else None
