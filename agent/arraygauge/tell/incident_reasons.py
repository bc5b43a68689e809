"""Why it is so, in a sentence, from whatever facts a finding carries."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from arraygauge.errors import OperatorError
from arraygauge.inventory.values import SyncAction
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Pace, Protection, WriteVerdict
from arraygauge.judge.drift_evidence import DriftFacts
from arraygauge.judge.findings import Finding, Matter
from arraygauge.judge.footage_watch import FootageFacts
from arraygauge.judge.passive import HangFacts, PathFacts, SlowFacts
from arraygauge.judge.state import CountFacts, ProtectionFacts, SyncFacts
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.footage import broken_reason
from arraygauge.tell.part_state import PartState
from arraygauge.tell.reasons_drift import drift_reason
from arraygauge.tell.reasons_passive import passive_reason
from arraygauge.tell.sentences import array_sentence, band_phrase, device_sentence, why_not
from arraygauge.tell.sentences import rate_with_uncertainty as rate_of_attempt
from arraygauge.tell.writes import write_sentence
from arraygauge.units import format_capacity, format_duration, format_rate

_ACTIONS = {
    SyncAction.RESYNC: "makes its members agree (resync)",
    SyncAction.RECOVER: "rebuilds a member (recover)",
    SyncAction.CHECK: "compares its members, as it should from time to time (check)",
    SyncAction.REPAIR: "makes its members agree where they do not (repair)",
    SyncAction.RESHAPE: "changes its shape (reshape)",
}


def reason_of(finding: Finding) -> str:
    """One or a few sentences; empty where nothing more is known than the headline says."""
    facts = finding.facts
    if isinstance(facts, CountFacts):
        return _of_count(finding.matter, facts)
    return next((words(facts) for kind, words in _WORDS.items() if isinstance(facts, kind)), "")


def _of_sync(facts: SyncFacts) -> str:
    queued = ", once others are done that it would get in the way of" if facts.delayed else ""
    return f"{facts.array_name} {_ACTIONS.get(facts.action, str(facts.action))}{queued}."


def _of_words(words: str) -> str:
    return f"{words}."


def _of_mistake(error: OperatorError) -> str:
    return f"{error.message}. Remedy: {error.remedy}."


def _of_part(state: PartState) -> str:
    if state.overdue:
        return f"'{state.part}' has not been heard of for longer than its work may take."
    times = "once" if state.failures == 1 else f"{state.failures} times in a row"
    return f"'{state.part}' failed {times}, and is started again: {state.last_error}."


def _of_channel(state: ChannelState) -> str:
    lost = (
        f" {_messages(state.given_up)} never arrived and {_were(state.given_up)} given up."
        if state.given_up
        else ""
    )
    return (
        f"{_messages(state.waiting)} {_were(state.waiting, 'waits', 'wait')} to be sent by "
        f"{state.channel}; the last {state.failures} attempts failed: "
        f"{state.last_error or 'nobody knows why'}.{lost}"
    )


def _messages(count: int) -> str:
    return "1 message" if count == 1 else f"{count} messages"


def _were(count: int, one: str = "was", more: str = "were") -> str:
    return one if count == 1 else more


def _of_protection(facts: ProtectionFacts) -> str:
    health = facts.health
    serve = (
        f"{health.working} of {health.wanted} members of {facts.array_name} "
        f"({facts.level_text}) serve."
    )
    if health.protection is Protection.STOPPED:
        return f"The kernel shows {facts.array_name} ({facts.level_text}) as not running."
    silent = (
        f" {', '.join(health.silent)} is gone without the kernel's md saying so."
        if health.silent
        else ""
    )
    return f"{serve}{silent}{_rebuild(facts)}"


def _rebuild(facts: ProtectionFacts) -> str:
    onto = ", ".join(facts.health.rebuilding)
    if not onto:
        return " Nothing rebuilds it." if facts.health.missing_slots else ""
    done, total, pace = facts.sync_done_bytes, facts.sync_total_bytes, facts.sync_bytes_per_second
    if not total or done is None:
        return f" It rebuilds onto {onto}."
    left = f", {format_duration((total - done) / pace)} left at {format_rate(pace)}" if pace else ""
    return f" It rebuilds onto {onto}: {done / total:.0%} done{left}."


def _of_count(matter: Matter, facts: CountFacts) -> str:
    if matter is Matter.MISMATCHES:
        return (
            f"The last check of {facts.array_name} found differences in "
            f"{format_capacity(facts.count)} of it."
        )
    one = facts.count == 1
    return (
        f"md lists {facts.count} range{'' if one else 's'} of "
        f"{facts.member_name or facts.array_name} in {facts.array_name} as unreadable."
    )


def _of_array(verdict: ArrayVerdict) -> str:
    return f"{_figures(verdict)}{array_sentence(verdict)}"


def _of_device(verdict: DeviceVerdict) -> str:
    if verdict.pace is Pace.NOT_MEASURED:
        return f"{verdict.device.name}: {why_not(verdict.attempt)}."
    if verdict.pace is Pace.AS_EXPECTED and not verdict.low_links:
        # Within what a single pass is forgiven, so only what repeats is a finding.
        return f"{_figures(verdict)}Little less than expected, but in pass after pass."
    return f"{_figures(verdict)}{verdict.device.name}: {device_sentence(verdict)}."


def _figures(verdict: ArrayVerdict | DeviceVerdict) -> str:
    measured = rate_of_attempt(verdict.attempt)
    if not measured:
        return ""
    if verdict.expectation is None or verdict.pace is Pace.NO_REFERENCE:
        return f"Read {measured}. "
    return f"Read {measured} where {band_phrase(verdict.expectation)} is expected. "


_WORDS: dict[type, Callable[[Any], str]] = {
    ProtectionFacts: _of_protection,
    SyncFacts: _of_sync,
    ArrayVerdict: _of_array,
    DeviceVerdict: _of_device,
    WriteVerdict: write_sentence,
    DriftFacts: drift_reason,
    FootageFacts: broken_reason,
    HangFacts: passive_reason,
    SlowFacts: passive_reason,
    PathFacts: passive_reason,
    ChannelState: _of_channel,
    PartState: _of_part,
    OperatorError: _of_mistake,
    str: _of_words,
}
"""By the kind of facts; those whose words need the matter too are not here."""
