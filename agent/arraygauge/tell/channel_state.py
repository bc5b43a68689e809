"""How a way of telling fares: facts for words and metrics."""

from __future__ import annotations

from arraygauge.values import frozen

TROUBLE_ATTEMPTS = 5
"""As many failures in a row, about half a minute of them, are worth telling of."""


@frozen
class ChannelState:
    """``waiting`` messages are still to be sent. ``given_up`` counts messages since the agent
    began that never arrived; ``failures`` those attempts in a row that failed last. ``known`` is
    False for messages to a channel that the configuration has no more."""

    channel: str
    waiting: int = 0
    failures: int = 0
    delivered: int = 0
    given_up: int = 0
    last_error: str | None = None
    known: bool = True

    @property
    def troubled(self) -> bool:
        """Worth a finding of its own."""
        return self.failures >= TROUBLE_ATTEMPTS or (self.given_up > 0 and self.failures > 0)
