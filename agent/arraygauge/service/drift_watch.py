"""Drift from pass to pass: what the keeper asks after each, and what is kept for the next."""

from __future__ import annotations

import logging

from arraygauge.history import Clock, HistoryError, Pen
from arraygauge.history.drift_rows import DriftRows, asked_to_accept, recall_drift
from arraygauge.judge import Status
from arraygauge.judge.drifting import DriftMemory, accept_as_usual, observe_drift
from arraygauge.judge.findings import Observation
from arraygauge.judge.strays import strays_of

_log = logging.getLogger(__name__)


class DriftWatch:
    """One for a history; its caller sees to it that one thread uses it at a time."""

    def __init__(self, pen: Pen, clock: Clock) -> None:
        self._history = pen.history
        self._rows = DriftRows(pen, clock)
        self._memory = DriftMemory()
        self._followed: frozenset[str] = frozenset()

    def start(self) -> None:
        """Take up where the last run ended. Raises HistoryError."""
        self._memory = recall_drift(self._history)

    def see_status(self, status: Status) -> Observation:
        """What a pass shows against those before it."""
        observation, self._memory = observe_drift(status, self._memory)
        self._keep()
        return observation

    def strays(self, status: Status) -> dict[str, float]:
        """How far what the pass measured strays by itself, by what is known by now."""
        return strays_of(status, self._memory.watched)

    def take_up(self) -> Observation | None:
        """What a person has accepted as usual since the last call; None for nothing."""
        try:
            asked = frozenset(asked_to_accept(self._history))
        except HistoryError as error:
            _log.warning("nobody knows what was accepted: %s", error.message)
            return None
        fresh = asked - self._followed
        if not fresh:
            return None
        _log.info("accepted as usual: %s", ", ".join(sorted(fresh)))
        observation, self._memory = accept_as_usual(self._memory, fresh)
        self._followed |= fresh
        self._keep()
        return observation

    def _keep(self) -> None:
        """A word that was followed goes with it; on a full disk both wait, and are not followed
        twice."""
        if self._rows.keep(self._memory, self._followed):
            self._followed = frozenset()
