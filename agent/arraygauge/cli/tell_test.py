"""`arraygauge tell-test`: does anybody hear it?"""

from __future__ import annotations

import platform
import sys
import time
from pathlib import Path

import click

from arraygauge.cli.status import Exit
from arraygauge.config import load_configuration
from arraygauge.judge.findings import Severity
from arraygauge.service.channels import try_ways, ways_of
from arraygauge.tell.incident_json import message_document
from arraygauge.tell.incident_words import IncidentWords
from arraygauge.units import format_duration


@click.command()
@click.pass_obj
def command(config_path: Path | None) -> None:
    """Send a test message through every configured way of telling, and say what came of it.

    Each is tried once. The exit status is 1 if any of them failed.
    """
    configuration = load_configuration(config_path)
    ways = ways_of(configuration.journal, configuration.webhook, configuration.notify)
    host = platform.node()
    words = IncidentWords(
        headline=f"Test message from arraygauge on {host}",
        seen="",
        reason="Somebody ran 'arraygauge tell-test' there.",
        meaning="Nothing is wrong. If you can read this, messages arrive.",
        steps=(),
        cautions=(),
    )
    message = message_document(host, time.time(), Severity.INFORMATION, words)
    failed = False
    for trial in try_ways(ways, message):
        took = format_duration(trial.seconds)
        if trial.error is None:
            click.echo(f"{trial.channel}: sent, in {took}")
        else:
            failed = True
            click.echo(f"{trial.channel}: failed after {took}: {trial.error}")
    sys.exit(Exit.RUNTIME_ERROR if failed else Exit.FINE)
