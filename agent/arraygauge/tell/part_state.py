"""How a part of the agent itself fares: facts for words and metrics."""

from __future__ import annotations

from arraygauge.values import frozen


@frozen
class PartState:
    """``failures`` counts since it last did its work; ``last_error`` is what the last one said.
    ``overdue`` says that it has not been heard of for longer than its work may take."""

    part: str
    failures: int = 0
    last_error: str | None = None
    overdue: bool = False

    @property
    def troubled(self) -> bool:
        """Worth a finding of its own."""
        return self.failures > 0 or self.overdue
