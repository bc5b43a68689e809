"""A sign of life to an address outside, so that silence tells somebody that the agent is dead.

It is sent while every part of the agent makes progress, as the watchdog is fed, and not when one
hangs: whoever waits for it need not know what is inside.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

from arraygauge.config.heartbeat import HeartbeatSection
from arraygauge.judge.findings import Finding
from arraygauge.probe.stop import StopToken
from arraygauge.service.bell import Bell, wait_for
from arraygauge.service.channels import post_to
from arraygauge.service.delivery import finding_of
from arraygauge.service.parts import Pulse
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.sender import Message, SendingError

_log = logging.getLogger(__name__)

NAME = "heartbeat"
BUSY_SECONDS = 300.0


class Heartbeat:
    """A part of the daemon. ``compose`` makes the document, or gives None while the agent is
    not well enough to say that it lives."""

    def __init__(
        self,
        section: HeartbeatSection | None,
        stop: StopToken,
        compose: Callable[[], Message | None],
        on_news: Callable[[], None],
    ) -> None:
        self._section = section
        self._stop = stop
        self._compose = compose
        self._on_news = on_news
        self._bell = Bell()
        self._state = ChannelState(channel=NAME)

    def reconfigure(self, section: HeartbeatSection | None) -> None:
        """One heartbeat at once, by the new section."""
        if section != self._section:
            self._section = section
            self._state = ChannelState(channel=NAME)
            self._bell.ring()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """That it does not arrive."""
        state = self._state
        return (finding_of(state),) if state.troubled else ()

    def run(self, pulse: Pulse) -> None:
        """Until told to stop."""
        while not self._stop.is_set():
            section = self._section
            if section is not None:
                pulse.busy(BUSY_SECONDS)
                self._beat(section)
            pulse.well()
            pulse.rest()
            wait_for((self._stop, self._bell), section.interval_seconds if section else None)
            self._bell.answer()

    def _beat(self, section: HeartbeatSection) -> None:
        document = self._compose()
        if document is None:
            return
        before = self._state
        try:
            post_to(section, NAME).send(document)
        except SendingError as error:
            _log.warning("a heartbeat did not arrive: %s", error.why)
            self._state = ChannelState(
                channel=NAME, failures=before.failures + 1, last_error=error.why
            )
        else:
            self._state = ChannelState(channel=NAME)
        if before.troubled != self._state.troubled:
            self._on_news()
