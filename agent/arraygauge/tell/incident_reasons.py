"""Why it is so, in a sentence, from whatever facts a finding carries."""

from __future__ import annotations

from arraygauge.errors import OperatorError
from arraygauge.inventory.values import SyncAction
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Pace, Protection
from arraygauge.judge.findings import Finding, Matter
from arraygauge.judge.state import CountFacts, ProtectionFacts, SyncFacts
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.sentences import array_sentence, band_phrase, device_sentence, why_not
from arraygauge.tell.sentences import rate_with_uncertainty as rate_of_attempt
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
    if isinstance(facts, ProtectionFacts):
        return _of_protection(facts)
    if isinstance(facts, SyncFacts):
        queued = ", once others are done that it would get in the way of" if facts.delayed else ""
        return f"{facts.array_name} {_ACTIONS.get(facts.action, str(facts.action))}{queued}."
    if isinstance(facts, CountFacts):
        return _of_count(finding.matter, facts)
    if isinstance(facts, ArrayVerdict):
        return _of_array(facts)
    if isinstance(facts, DeviceVerdict):
        return _of_device(facts)
    if isinstance(facts, ChannelState):
        return _of_channel(facts)
    if isinstance(facts, OperatorError):
        return f"{facts.message}. Remedy: {facts.remedy}."
    return ""


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
    return f"{_figures(verdict)}{verdict.device.name}: {device_sentence(verdict)}."


def _figures(verdict: ArrayVerdict | DeviceVerdict) -> str:
    measured = rate_of_attempt(verdict.attempt)
    if not measured:
        return ""
    if verdict.expectation is None or verdict.pace is Pace.NO_REFERENCE:
        return f"Read {measured}. "
    return f"Read {measured} where {band_phrase(verdict.expectation)} is expected. "
