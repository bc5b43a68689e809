"""What trials had measured, beside the arrays that were built of their drives since."""

from __future__ import annotations

import logging

from arraygauge.history import History, HistoryError
from arraygauge.history.trials import has_trials, shape_of, trial_of
from arraygauge.inventory.values import Host
from arraygauge.judge import ArrayVerdict, Tolerances, with_trial

_log = logging.getLogger(__name__)


def beside_trials(
    history: History, host: Host, verdicts: tuple[ArrayVerdict, ...], tolerances: Tolerances
) -> tuple[ArrayVerdict, ...]:
    """The verdicts, each held against its array's trial where there was one. As they are where
    the history cannot be read."""
    try:
        if not has_trials(history):
            return verdicts
        return tuple(_beside(history, host, verdict, tolerances) for verdict in verdicts)
    except HistoryError as error:
        _log.warning("arrays were not held against their trials: %s", error.message)
        return verdicts


def _beside(
    history: History, host: Host, verdict: ArrayVerdict, tolerances: Tolerances
) -> ArrayVerdict:
    shape = shape_of(host, verdict.array)
    past = trial_of(history, shape) if shape is not None else None
    return verdict if past is None else with_trial(verdict, past, tolerances.short)
