"""`arraygauge accept-baseline`: what a device does now is right."""

from __future__ import annotations

import time

import click

from arraygauge.cli.records import existing_history
from arraygauge.errors import OperatorError, UnknownDeviceError
from arraygauge.history import History
from arraygauge.history.drift_rows import ask_to_accept, recall_drift
from arraygauge.history.measurements import find_device, known_devices
from arraygauge.judge.baseline import READINGS_NEEDED
from arraygauge.judge.drifting import DriftMemory


@click.command()
@click.argument("device")
def command(device: str) -> None:
    """Take what DEVICE, an array or a drive, does now as usual, and end its drift.

    A running agent hears of it within a minute, and then learns what is usual anew, for the
    device and for what changed along with it.
    """
    with existing_history() as history:
        memory = recall_drift(history)
        stable_id = _find(history, memory, device)
        ask_to_accept(history, stable_id, time.time())
    click.echo(
        f"What {device} does now is taken as usual. A running agent hears of it within a minute, "
        f"or else the next one that runs. It then learns from {READINGS_NEEDED} readings, and "
        "until it has them no drift is seen."
    )


def _find(history: History, memory: DriftMemory, name: str) -> str:
    """The stable id of a drift's cause or of a device that is watched. Raises OperatorError."""
    told = {cause: each.name for cause, each in memory.told.items()}
    for stable_id, called in told.items():
        if name in (stable_id, called):
            return stable_id
    known = find_device(known_devices(history), name)
    if known is None:
        raise UnknownDeviceError(
            f"{name}: never measured, as far as is kept", "'arraygauge history' lists what was"
        )
    if known.stable_id not in {each.usual.key.stable_id for each in memory.watched}:
        raise OperatorError(
            f"{name}: nothing is learned of it yet", "'arraygauge run' learns what is usual"
        )
    return known.stable_id
