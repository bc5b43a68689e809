"""`arraygauge companion`: notifications in the desktop session.

The agent runs as a service that cannot reach anybody's desktop; this runs in the session of
whoever sits there, needs no rights, and asks the agent over its loopback address.
"""

from __future__ import annotations

import http.client
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import click

from arraygauge.probe.stop import StopToken
from arraygauge.service.signals import stopping_on_signals
from arraygauge.tell.desktop import Desktop
from arraygauge.tell.desktop_news import Notice, news, silence_of_the_agent
from arraygauge.tell.sender import SendingError

ANSWER_SECONDS = 5.0
MISSES_TO_TELL = 3
MOST_BYTES = 4 * 2**20


@click.command()
@click.option(
    "--url",
    default="http://127.0.0.1:9847/incidents.json",
    show_default=True,
    help="Where the agent answers.",
)
@click.option(
    "--every",
    "seconds",
    type=click.FloatRange(min=1, max=3600),
    default=5,
    show_default=True,
    help="Seconds between two looks.",
)
@click.option(
    "--least",
    type=click.Choice(["information", "minor", "major", "critical"]),
    default="minor",
    show_default=True,
    help="Show nothing less severe.",
)
def command(url: str, seconds: float, least: str) -> None:
    """Show incidents as notifications on this desktop, until Ctrl-C or the session's end.

    Also that the agent does not answer. Needs the extra 'desktop'.
    """
    parts = urlsplit(url)
    if parts.scheme != "http" or not parts.hostname:
        raise click.BadParameter("write an address like http://127.0.0.1:9847/incidents.json")
    stop = StopToken()
    with stopping_on_signals(stop), Desktop() as desktop:
        companion = Companion(ask=lambda: fetched(url), show=desktop.show, least=least)
        while not stop.is_set():
            companion.look()
            stop.wait(seconds)


@dataclass
class Companion:
    """``ask`` gives the agent's list, or raises OSError, HTTPException or ValueError."""

    ask: Callable[[], dict[str, Any]]
    show: Callable[[Notice], None]
    least: str
    shown: dict[int, float] = field(default_factory=dict)
    misses: int = 0

    def look(self) -> None:
        """Ask once, and show what is new. What the desktop refuses is shown at the next look."""
        try:
            notices, after = news(self.ask(), self.shown, self.least)
        except (OSError, http.client.HTTPException, ValueError, KeyError, TypeError) as error:
            self.misses += 1
            if self.misses == MISSES_TO_TELL:
                self._show(silence_of_the_agent(str(error)))
            return
        self.misses = 0
        for notice in notices:
            if not self._show(notice):
                after.pop(notice.incident, None)
                if notice.incident in self.shown:
                    after[notice.incident] = self.shown[notice.incident]
        self.shown = after

    def _show(self, notice: Notice) -> bool:
        try:
            self.show(notice)
        except SendingError as error:
            click.echo(f"arraygauge: {error.why}", err=True)
            return False
        return True


def fetched(url: str) -> dict[str, Any]:
    """The agent's list of incidents. Raises OSError, HTTPException or ValueError."""
    parts = urlsplit(url)
    connection = http.client.HTTPConnection(
        parts.hostname or "", parts.port, timeout=ANSWER_SECONDS
    )
    try:
        connection.request("GET", parts.path or "/")
        with connection.getresponse() as response:
            if response.status != http.client.OK:
                raise ValueError(f"{url} answered with status {response.status}")
            document: object = json.loads(response.read(MOST_BYTES))
    finally:
        connection.close()
    if not isinstance(document, dict):
        raise ValueError(f"{url} answered with something else")
    return document
