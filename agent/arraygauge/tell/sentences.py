"""Verdicts in plain sentences: the only place that words them."""

from __future__ import annotations

from arraygauge.inventory.values import Array, Level, Link, LinkRate
from arraygauge.judge import ArrayVerdict, Cause, DeviceVerdict, Health, OddMember, Pace, Protection
from arraygauge.judge.past_trial import SinceTrial
from arraygauge.probe.values import Attempt, Measurement, Route, Skipped
from arraygauge.tell.moments import minute
from arraygauge.theory import Expectation, Resource, ResourceKind
from arraygauge.theory.walls import Wall
from arraygauge.units import format_binary, format_capacity, format_duration, format_rate


def array_sentence(verdict: ArrayVerdict) -> str:
    """One sentence for one array: the worst news first, with its reason."""
    odd = f" {_odd_clause(verdict.odd_members[0])}." if verdict.odd_members else ""
    if verdict.health.protection is Protection.BROKEN:
        return broken_sentence(verdict)
    if verdict.pace is Pace.NOT_MEASURED:
        return f"Not measured: {why_not(verdict.attempt)}.{odd}"
    if verdict.pace is Pace.SHORT:
        return _shortfall_sentence(verdict)
    if odd:
        return f"{odd.strip()[:-1]}, though the array does not show it in reads."
    return _pace_sentence(verdict)


def broken_sentence(verdict: ArrayVerdict) -> str:
    """What is lost, whether the kernel knows, and what not to do."""
    health = verdict.health
    if health.silent:
        gone = ", ".join(health.silent)
        who = f"{gone} is gone, though the kernel still says '{verdict.array.state_text}'"
    elif health.lost:
        who = f"{', '.join(health.lost)} failed"
    elif health.missing_slots:
        who = f"{len(health.missing_slots)} of {health.wanted} members are missing"
    else:
        who = "the kernel says so"
    return (
        f"Broken: {who}; part of the data cannot be read. Stop writing to it, "
        "change nothing, and restore from backup or ask a recovery professional."
    )


def _shortfall_sentence(verdict: ArrayVerdict) -> str:
    if verdict.cause is Cause.SLOW_MEMBER:
        odd = verdict.odd_members[0]
        share = odd.explained_share or 0.0
        return f"{_odd_clause(odd)} and explains {share:.0%} of the shortfall."
    if verdict.cause is Cause.MEMBERS_SLOWER:
        return (
            "It does what its members give by themselves, but some of them give a little less "
            "than their peers or their rating."
        )
    since = verdict.since_trial
    if verdict.cause is Cause.BELOW_TRIAL and since is not None:
        return (
            f"The same drives did better before it was built: {since_trial_phrase(since)}. Its "
            "members, links and temperatures may tell what has changed."
        )
    if verdict.cause is Cause.FOUND_SHARED_LIMIT:
        found = "; ".join(wall_phrase(wall) for wall in verdict.walls if wall.certain)
        return f"Read together, {found}: a link, port or controller that they share."
    perhaps = "; ".join(wall_phrase(wall) for wall in verdict.walls)
    guess = f" Perhaps, but not certain: {perhaps}." if perhaps else ""
    return (
        "Its members read alone allow more than they give together: something they share limits "
        "them that is neither shown by the kernel nor declared as an uplink in the "
        "configuration, or other work used the array meanwhile." + guess
    )


def since_trial_phrase(since: SinceTrial) -> str:
    """What the trial gave, and how far from it the array is."""
    read = since.past.read
    gave = format_rate(read.rate) if read is not None else "nothing"
    when = f"the trial of {minute(since.past.at_seconds)} read {gave}"
    if since.share is None:
        return when
    way = "slower" if since.share < 0 else "faster"
    return f"{when}, and it is {abs(since.share):.0%} {way}"


def wall_phrase(wall: Wall) -> str:
    *first, last = sorted(wall.members)
    names = f"{', '.join(first)} and {last}" if first else last
    return f"{names} carry no more than {format_rate(wall.bytes_per_second)}"


def _odd_clause(odd: OddMember) -> str:
    return (
        f"{odd.name} reads {format_rate(odd.bytes_per_second)} "
        f"where {format_rate(odd.peers_bytes_per_second)} is expected of it"
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
    if bottleneck.kind is ResourceKind.MEMBER:
        return f"It does what its members allow; {bottleneck.name} is the first of them to be busy."
    what = "link" if bottleneck.kind is ResourceKind.LINK else str(bottleneck.kind)
    shared = "shared " if len(bottleneck.members) > 1 else ""
    alone = members_alone(expectation)
    gain = f"; without it the members would give {format_rate(alone)}" if alone else ""
    return f"The {shared}{what} '{bottleneck.name}' sets the pace{gain}."


def members_alone(expectation: Expectation) -> float | None:
    """Bytes per second if no link bound, where that is clearly more than the ceiling."""
    demands = [
        use.demand_seconds_per_byte
        for use in expectation.uses
        if use.resource.kind is ResourceKind.MEMBER
    ]
    rate = 1 / max(demands, default=float("inf")) if any(demands) else 0.0
    return rate if rate > 1.05 * expectation.ceiling_bytes_per_second else None


def shape_phrase(array: Array) -> str:
    """Level, members, chunk and size, as far as they are known."""
    parts = [
        array.level_text or "no level",
        f"{array.raid_disks or len(array.members)} members",
        f"chunk {format_binary(array.chunk_bytes)}" if array.chunk_bytes else "",
        format_capacity(array.size_bytes) if array.size_bytes else "",
    ]
    return ", ".join(part for part in parts if part)


def protection_phrase(health: Health, level: Level) -> str:
    """The state of redundancy in words."""
    count = f"{health.working} of {health.wanted} members serve"
    spare = health.survivable
    phrases = {
        Protection.WHOLE: f"whole: {count}; {_survives(spare.guaranteed, spare.at_best)}",
        Protection.SETTLING: f"not yet: {count}, but a resync has still to make them agree",
        Protection.REDUCED: f"reduced: {count}; {_survives(spare.guaranteed, spare.at_best)}",
        Protection.NONE_LEFT: f"none left: {count}; {_last_chance(spare.at_best)}",
        Protection.NEVER_ANY: f"none by design ({level}): any failure loses the array",
        Protection.BROKEN: f"broken: {count}; data is incomplete",
        Protection.STOPPED: "stopped: the array is not running",
        Protection.UNKNOWN: "unknown: the kernel does not show enough of the array",
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
    parts = (words[verdict.pace], low, through, _zeros(verdict.attempt))
    return "; ".join(part for part in parts if part)


def _zeros(attempt: Attempt) -> str:
    """An SSD answers reads of blocks it never wrote without touching flash."""
    if not isinstance(attempt, Measurement) or not attempt.set_aside:
        return ""
    read = len(attempt.set_aside) + len(attempt.places)
    return f"{len(attempt.set_aside)} of {read} places held zeros and were set aside"


def rate_with_uncertainty(attempt: Attempt) -> str:
    """The measured rate and half its confidence interval; empty where there is no rate."""
    if not isinstance(attempt, Measurement) or not attempt.bytes_per_second or not attempt.usable:
        return ""
    rate = format_rate(attempt.bytes_per_second)
    if attempt.uncertainty is None:
        return f"{rate} (too few places to say how surely)"
    return f"{rate} ± {100 * attempt.uncertainty:.1f} %"


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


def sync_phrase(array: Array) -> str:
    """What the array is busy with, how far it is, and what is left at the present speed."""
    if array.sync_action is None:
        return ""
    if not array.sync_total_bytes or array.sync_done_bytes is None:
        return str(array.sync_action) + (" (delayed)" if array.sync_delayed else "")
    share = array.sync_done_bytes / array.sync_total_bytes
    pace = f" at {format_rate(array.sync_bytes_per_second)}" if array.sync_bytes_per_second else ""
    left = array.sync_total_bytes - array.sync_done_bytes
    rest = (
        f", {format_duration(left / array.sync_bytes_per_second)} left at that speed"
        if array.sync_bytes_per_second
        else ""
    )
    return f"{array.sync_action} {share:.1%}{pace}{rest}"
