"""Words for what watching the kernel's counters found."""

from __future__ import annotations

from arraygauge.judge.findings import Finding
from arraygauge.judge.passive import HangFacts, PathFacts, SlowFacts
from arraygauge.units import format_duration

PassiveFacts = HangFacts | SlowFacts | PathFacts

_SEEN_BY = "by the kernel's own counters, while others worked and nothing was sent to a drive"


def passive_reason(facts: PassiveFacts) -> str:
    """Why it is so, in a sentence or two."""
    if isinstance(facts, HangFacts):
        return _of_hang(facts)
    if isinstance(facts, SlowFacts):
        return _of_member(facts)
    return _of_path(facts)


def passive_headline(finding: Finding) -> str | None:
    """For what the matter's own headline would say wrongly: a hang that is over."""
    facts = finding.facts
    if isinstance(facts, HangFacts) and facts.over:
        return f"{facts.name} answers again, after {_seconds(facts.seconds)}"
    return None


def _of_hang(facts: HangFacts) -> str:
    error = _seconds(max(facts.error_seconds, 0.001))
    frames = f"{round(facts.frames)} frames at {facts.frames_per_second:g} a second"
    who = ", ".join(facts.drives)
    shared = f", which share {facts.name}," if len(facts.drives) > 1 else ""
    if facts.over:
        return (
            f"{who}{shared} completed nothing for {round(facts.seconds * 1000)} ms "
            f"(± {error}), or {frames}, and then went on.{_spin_up(facts)}"
        )
    requests = "1 request waits" if facts.in_flight == 1 else f"{facts.in_flight} requests wait"
    return (
        f"{requests} on {who}{shared} and none has been completed for {_seconds(facts.seconds)} "
        f"(± {error}) by now.{_spin_up(facts)}"
    )


def _spin_up(facts: HangFacts) -> str:
    if not facts.may_spin_up:
        return ""
    rested = format_duration(facts.rested_seconds)
    return (
        f" It had done nothing for {rested}: if it stops turning when idle, this may only have "
        "been its start, which takes up to half a minute."
    )


def _of_member(facts: SlowFacts) -> str:
    like = "the same work" if facts.even else "like work"
    return (
        f"{facts.name} takes {facts.ratio:.1f} times as long as {_others(facts.peers)} in "
        f"{facts.array_name} for {like}, {_SEEN_BY}."
    )


def _of_path(facts: PathFacts) -> str:
    members = ", ".join(facts.members)
    shared = facts.link_name or "nothing that the kernel shows, but slowed together"
    if facts.by_past:
        return (
            f"All of {members} in {facts.array_name} take {facts.ratio:.1f} times as long as they "
            f"did with such a load, {_SEEN_BY}."
        )
    return (
        f"{members} in {facts.array_name} share {shared}, and take {facts.ratio:.1f} times as long "
        f"as its other members for the same work, {_SEEN_BY}."
    )


def _others(peers: tuple[str, ...]) -> str:
    return peers[0] if len(peers) == 1 else f"its {len(peers)} peers"


def _seconds(seconds: float) -> str:
    return f"{seconds * 1000:.0f} ms" if seconds < 0.995 else f"{seconds:.1f} s"
