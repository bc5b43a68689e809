"""What the agent does about itself: takes up a changed configuration, and tells what of it is
impaired.

It has a thread of its own so that the main loop, which feeds the watchdog and obeys SIGTERM,
waits for no disk and no lock.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, field

from arraygauge.errors import OperatorError
from arraygauge.judge.findings import Finding, agent_impaired
from arraygauge.probe.stop import StopToken
from arraygauge.service.bell import Bell, wait_for
from arraygauge.service.keeper import Keeper
from arraygauge.service.notifier import Notifier
from arraygauge.service.parts import Pulse

_log = logging.getLogger(__name__)

BUSY_SECONDS = 60.0
"""Longer than reading the configuration, and writing down what is the matter, can take."""


@dataclass(slots=True, kw_only=True)
class Upkeep:
    """A part of the daemon. ``reload`` loads the configuration and has all parts use it, or
    raises OperatorError and leaves them as they were. ``findings`` are those of the parts;
    ``status`` makes the line for `systemctl status`."""

    stop: StopToken
    notifier: Notifier
    keeper: Keeper
    reload: Callable[[], None]
    findings: Callable[[], tuple[Finding, ...]]
    status: Callable[[], str]
    asked: Bell = field(default_factory=Bell)
    """Rung to have the configuration read again."""
    news: Bell = field(default_factory=Bell)
    """Rung when something may be told that was not."""
    refused: OperatorError | None = None
    """Why the configuration on the disk is not in use."""

    def run(self, pulse: Pulse) -> None:
        """Until told to stop."""
        while not self.stop.is_set():
            pulse.busy(BUSY_SECONDS)
            if self.asked.answer():
                self._reload()
            self.news.answer()
            self.notifier.status(self.status())
            self.keeper.see_agent((*self.findings(), *_of_refusal(self.refused)))
            pulse.well()
            pulse.rest()
            wait_for((self.stop, self.asked, self.news), None)

    def _reload(self) -> None:
        self.notifier.reloading()
        try:
            self.reload()
        except OperatorError as error:
            self.refused = error
            _log.error(
                "the configuration was not reloaded, the one before is kept: %s; %s",
                error.message,
                error.remedy,
            )
        else:
            self.refused = None
            _log.warning("the configuration was reloaded")
        finally:
            self.notifier.ready()


def _of_refusal(refused: OperatorError | None) -> tuple[Finding, ...]:
    if refused is None:
        return ()
    name = "the configuration was not reloaded"
    return (agent_impaired("agent configuration", name, facts=refused, signature=refused.message),)
