"""An array held against what a trial measured of the same drives before it was built. Pure."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import SyncAction
from arraygauge.judge.pace import rate_of, surely
from arraygauge.judge.past_trial import PastTrial, SinceTrial
from arraygauge.judge.values import ArrayVerdict, Cause, Pace
from arraygauge.probe.values import Measurement

_UNREMARKABLE = (Pace.AS_EXPECTED, Pace.NO_REFERENCE)


def with_trial(verdict: ArrayVerdict, past: PastTrial, short_below: float) -> ArrayVerdict:
    """The verdict, knowing what the trial gave. An array that does what theory allows is short
    all the same where it surely reads less than ``short_below`` of what its own drives did then:
    the trial is the better reference, since nothing of it is assumed."""
    since = SinceTrial(past=past, share=_share(verdict, past))
    known = replace(verdict, since_trial=since)
    if since.share is None or past.read is None or verdict.pace not in _UNREMARKABLE:
        return known
    _, high = surely(verdict.attempt, past.read.rate * (1 + since.share))
    least = past.read.low if past.read.low is not None else past.read.rate
    if high >= short_below * least:
        return known
    return replace(known, pace=Pace.SHORT, cause=Cause.BELOW_TRIAL)


def _share(verdict: ArrayVerdict, past: PastTrial) -> float | None:
    attempt, rate = verdict.attempt, rate_of(verdict.attempt)
    at_rest = verdict.array.sync_action in (None, SyncAction.IDLE)
    if rate is None or past.read is None or not past.read.rate:
        return None
    if not verdict.health.is_whole or not at_rest:
        return None
    if not isinstance(attempt, Measurement) or attempt.workload != past.read_workload:
        return None
    return rate / past.read.rate - 1
