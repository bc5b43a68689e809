"""Verdicts in plain sentences: the only place that words them."""

from __future__ import annotations

from arraygauge.inventory.values import Level, Link, LinkRate
from arraygauge.judge import ArrayVerdict, Cause, DeviceVerdict, Health, OddMember, Pace, Protection
from arraygauge.probe.values import Attempt, Measurement, Route, Skipped
from arraygauge.theory import Expectation, Resource, ResourceKind
from arraygauge.units import format_capacity, format_rate


def array_sentence(verdict: ArrayVerdict) -> str:
    """One sentence for one array: the worst news first, with its reason."""
    if verdict.health.protection is Protection.BROKEN:
        return broken_sentence(verdict)
    if verdict.pace is Pace.SHORT:
        return _shortfall_sentence(verdict)
    if verdict.odd_members:
        return f"{_odd_clause(verdict.odd_members[0])}, though the array does not show it in reads."
    if verdict.pace is Pace.NOT_MEASURED:
        return f"Not measured: {why_not(verdict.attempt)}."
    return _pace_sentence(verdict)


def broken_sentence(verdict: ArrayVerdict) -> str:
    health = verdict.health
    lost = ", ".join((*health.silent, *(name for name in health.lost if name not in health.silent)))
    who = f"{lost} is gone" if lost else f"{health.wanted - health.working} member(s) are missing"
    silence = (
        f", though the kernel still says '{verdict.array.state_text}'" if health.silent else ""
    )
    return (
        f"Broken: {who}{silence}; part of the data cannot be read. Stop writing to it, "
        "change nothing, and restore from backup or ask a recovery professional."
    )


def _shortfall_sentence(verdict: ArrayVerdict) -> str:
    if verdict.cause is Cause.SLOW_MEMBER:
        odd = verdict.odd_members[0]
        share = odd.explained_share or 0.0
        return f"{_odd_clause(odd)} and explains {share:.0%} of the shortfall."
    return (
        "Every member is as good as its peers when read alone, but together they fall short: "
        "something they share limits them that is neither shown by the kernel nor declared "
        "as an uplink in the configuration."
    )


def _odd_clause(odd: OddMember) -> str:
    return (
        f"{odd.name} reads {format_rate(odd.bytes_per_second)} "
        f"where its peers read {format_rate(odd.peers_bytes_per_second)}"
    )


def _pace_sentence(verdict: ArrayVerdict) -> str:
    expectation = verdict.expectation
    if expectation is None:
        return "Measured, but too little is known of its members to expect a figure."
    if verdict.pace is Pace.ABOVE:
        return (
            "Faster than its members and links allow: a declared rate is too low, "
            "or a cache answered for the drives."
        )
    bottleneck = expectation.bottleneck
    if bottleneck.kind is ResourceKind.LINK:
        alone = members_alone(expectation)
        gain = f"; without it the members would give {format_rate(alone)}" if alone else ""
        return f"The shared link '{bottleneck.name}' sets the pace{gain}."
    return f"It does what its members allow; {bottleneck.name} is the first of them to be busy."


def members_alone(expectation: Expectation) -> float | None:
    """Bytes per second if no link bound, where that is clearly more than the ceiling."""
    demands = [
        use.demand_seconds_per_byte
        for use in expectation.uses
        if use.resource.kind is ResourceKind.MEMBER
    ]
    rate = 1 / max(demands, default=float("inf")) if any(demands) else 0.0
    return rate if rate > 1.05 * expectation.ceiling_bytes_per_second else None


def protection_phrase(health: Health, level: Level) -> str:
    """The state of redundancy in words."""
    count = f"{health.working} of {health.wanted} members serve"
    spare = health.survivable
    phrases = {
        Protection.WHOLE: f"whole: {count}; {_survives(spare.guaranteed, spare.at_best)}",
        Protection.REDUCED: f"reduced: {count}; {_survives(spare.guaranteed, spare.at_best)}",
        Protection.NONE_LEFT: f"none left: {count}; {_last_chance(spare.at_best)}",
        Protection.NEVER_ANY: f"none by design ({level}): any failure loses the array",
        Protection.BROKEN: f"broken: {count}; data is incomplete",
        Protection.STOPPED: "stopped: the array is not running",
        Protection.UNKNOWN: "unknown: the level or the number of members cannot be read",
    }
    rebuilding = f"; rebuilding onto {', '.join(health.rebuilding)}" if health.rebuilding else ""
    gone = f"; lost: {', '.join(health.lost)}" if health.lost else ""
    return phrases[health.protection] + gone + rebuilding


def _survives(guaranteed: int, at_best: int) -> str:
    lucky = f", up to {at_best} if they fall right" if at_best > guaranteed else ""
    return f"survives {guaranteed} more failure{'s' if guaranteed != 1 else ''}{lucky}"


def _last_chance(at_best: int) -> str:
    if at_best:
        return "the wrong next failure loses data: copy what matters now"
    return "the next failure loses data: copy what matters now"


def device_sentence(verdict: DeviceVerdict) -> str:
    """One phrase for one drive."""
    if verdict.pace is Pace.NOT_MEASURED:
        return why_not(verdict.attempt)
    words = {
        Pace.AS_EXPECTED: "as expected",
        Pace.ABOVE: "above what its rating or link allows",
        Pace.NO_REFERENCE: "measured; no peer, rating or baseline to hold it against",
        Pace.SHORT: "slower than its peers or rating",
    }
    through = _through_file(verdict.attempt)
    low = "; ".join(low_link_phrase(link) for link in verdict.low_links)
    return "; ".join(part for part in (words[verdict.pace], low, through) if part)


def low_link_phrase(link: Link) -> str:
    if link.negotiated is None or link.maximum is None:
        return ""
    trained, possible = rate_phrase(link.negotiated), rate_phrase(link.maximum)
    return f"{link.kind} {link.name} trained at {trained} of {possible}"


def rate_phrase(rate: LinkRate) -> str:
    lanes = f" × {rate.lanes}" if rate.lanes > 1 else ""
    return f"{rate.bits_per_second_per_lane / 1e9:g} Gb/s{lanes}"


def _through_file(attempt: Attempt) -> str:
    if isinstance(attempt, Measurement) and attempt.route is Route.FILE:
        return f"measured through a file: {format_capacity(attempt.bytes_read)} of {attempt.path}"
    return ""


def why_not(attempt: Attempt) -> str:
    """Why there is no rate to judge."""
    if isinstance(attempt, Skipped):
        return attempt.detail
    return attempt.detail or f"the probe ended early ({attempt.outcome})"


def bottleneck_phrase(resource: Resource) -> str:
    if resource.kind is ResourceKind.LINK:
        shared = len(resource.members)
        return (
            f"{resource.name}, {resource.source} {format_rate(resource.read_bytes_per_second)}, "
            f"carries {shared} member{'s' if shared > 1 else ''}"
        )
    return (
        f"member {resource.name}, {resource.source} {format_rate(resource.read_bytes_per_second)}"
    )


def band_phrase(expectation: Expectation) -> str:
    """'80.0 MB/s', or '20.0 to 40.0 MB/s' where the model cannot know."""
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    if floor > 0.995 * ceiling:
        return format_rate(ceiling)
    return f"{format_rate(floor)} to {format_rate(ceiling)}"
