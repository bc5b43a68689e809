"""`arraygauge demo` while it serves: the invented agent behind the real one's address."""

from __future__ import annotations

import time
from collections.abc import Callable

from arraygauge.history.incident_log import logged_incidents
from arraygauge.history.silences import silences_at
from arraygauge.probe.stop import StopToken
from arraygauge.service.demo.agent import InventedAgent
from arraygauge.service.demo.machine import HOST_NAME
from arraygauge.service.door import Door
from arraygauge.service.http import Serving, application
from arraygauge.service.page import Page
from arraygauge.service.page_events import Followers
from arraygauge.service.parts import Part, Parts
from arraygauge.tell.incident_json import incidents_json
from arraygauge.tell.passive_json import watching_document

STEP_SECONDS = 0.25
"""Of real time, in which simulated time goes on by one step."""
SHUTDOWN_SECONDS = 1.0
SERVED_CLOSED = 50
"""How many incidents that are over are served besides the open ones."""


class DemoServing:
    """Serves while simulated time passes, on loopback only."""

    def __init__(self, agent: InventedAgent, stop: StopToken) -> None:
        """Raises OperatorError if the port is taken."""
        self._agent = agent
        self._stop = stop
        self._followers = Followers(agent.knowledge.revision, stop)
        page = Page(agent.knowledge)
        self._serving = Serving(
            agent.configuration.run,
            application(agent.collector, self._incidents, page, self._followers),
            stop,
            Door(None),
            self._followers,
        )

    @property
    def address(self) -> str:
        return self._serving.address

    def run(self, days: float, days_per_second: float, on_caught_up: Callable[[], None]) -> None:
        """So many days as fast as they go, then on at that pace, until told to stop."""
        parts = Parts(
            (
                Part(name="http", run=self._serving.run),
                Part(name="open pages", run=self._followers.run),
            ),
            self._stop,
            lambda: None,
        )
        parts.start()
        self._agent.live_until(days, self._stop)
        if not self._stop.is_set():
            on_caught_up()
        began = time.monotonic()
        while not self._stop.wait(STEP_SECONDS):
            day = days + (time.monotonic() - began) * days_per_second
            self._agent.live_until(day, self._stop)
        parts.end(SHUTDOWN_SECONDS)

    def _incidents(self) -> str:
        history = self._agent.purse.history
        return incidents_json(
            logged_incidents(history, SERVED_CLOSED),
            silences_at(history, self._agent.clock.wall_seconds),
            HOST_NAME,
            watching_document(self._agent.watched),
        )
