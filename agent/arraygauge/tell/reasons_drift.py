"""A drift in words: what changed, since when, how much, how surely, and what speaks for why."""

from __future__ import annotations

from arraygauge.judge.baseline import expected_rate
from arraygauge.judge.change import Shape
from arraygauge.judge.drift import Course, DriftFinding
from arraygauge.judge.drift_evidence import DriftFacts, Sign
from arraygauge.tell.moments import minute
from arraygauge.tell.sentences import low_link_phrase
from arraygauge.units import format_rate

_ALIKE = 0.03
"""Peers within that of their own past are said to be where they were."""


def drift_reason(facts: DriftFacts) -> str:
    """Some sentences: the change, who else changed, and the evidence."""
    sentences = (_change(facts), _company(facts), *_evidence(facts))
    return " ".join(each for each in sentences if each)


def drift_steps(facts: DriftFacts) -> tuple[str, ...]:
    """What the evidence says to look at before anything else."""
    steps = {
        Sign.LOW_LINK: "Look at its cable and port first: its link trained low.",
        Sign.HOTTER: "See that fans turn, filters are free and drives have air between them.",
        Sign.FULLER: "See how full it is: many solid-state drives slow down as they fill.",
        Sign.ERRORS_GREW: "See that a backup is fresh: its errors grow in number too.",
    }
    return tuple(words for sign, words in steps.items() if sign in facts.signs)


def drift_share(share: float) -> str:
    """'8.1 % slower', '3.0 % faster'."""
    return f"{100 * abs(share):.1f} % {'slower' if share < 0 else 'faster'}"


def _change(facts: DriftFacts) -> str:
    drift = facts.drift
    usual = expected_rate(drift.baseline, drift.celsius)
    low, high = sorted(abs(each) for each in (drift.low_share, drift.high_share))
    of_a_member = f"Of {facts.together} members that changed alike, the middle one reads"
    who = of_a_member if facts.together and not facts.of_array else "It reads"
    return (
        f"{who} {format_rate(usual * (1 + drift.share))} where {format_rate(usual)} was usual: "
        f"{drift_share(drift.share)} ({_interval(drift, low, high)}){_course(drift)}."
    )


def _interval(drift: DriftFinding, low: float, high: float) -> str:
    if drift.low_share < 0 < drift.high_share:
        low = 0.0
    passes = "one pass" if drift.passes == 1 else f"{drift.passes} passes"
    return f"{100 * low:.1f} to {100 * high:.1f} %, from {passes}"


def _course(drift: DriftFinding) -> str:
    since = minute(drift.onset.moment_seconds)
    shape = drift.onset.shape
    if drift.passes == 1:
        return f", since the pass of {since}"
    if shape is Shape.STEP:
        return f", all at once about {since}"
    if shape is Shape.TREND:
        pace = f", {100 * abs(drift.per_day):.2g} % a day" if drift.per_day else ""
        goes_on = drift.kendall is not None and abs(drift.kendall) >= 2
        return f", little by little since about {since}{pace}{' and going on' if goes_on else ''}"
    return f", since about {since}; too few passes tell whether at once or little by little"


def _company(facts: DriftFacts) -> str:
    peers, faster = facts.peers, facts.drift.course is Course.FASTER
    if facts.together:
        way = "faster" if faster else "slower"
        return (
            f"All {facts.together} members became {way} alike: that points to what they "
            "share rather than to any of them."
        )
    if peers is None:
        return ""
    there = "are where they were" if abs(peers.share) <= _ALIKE else _about(peers.share)
    if facts.is_array:
        return f"Its members, read one by one, {there}: that points to what they share."
    others = "other member" if peers.count == 1 else f"{peers.count} other members"
    return f"The {others} of {peers.array_name} {there if peers.count > 1 else _one(there)}."


def _about(share: float) -> str:
    return f"are {drift_share(share)} than they were"


def _one(there: str) -> str:
    return there.replace("are ", "is ", 1).replace("they were", "it was")


def _evidence(facts: DriftFacts) -> list[str]:
    drift, before, now = facts.drift, facts.before, facts.now
    found = [f"{low_link_phrase(link)}." for link in facts.low_links]
    usual = drift.baseline.usual_celsius
    if Sign.HOTTER in facts.signs and usual is not None and drift.celsius is not None:
        found.append(f"It was {drift.celsius:.0f} °C since, and {usual:.0f} °C before.")
    empty = drift.baseline.usual_empty_share
    if Sign.FULLER in facts.signs and empty is not None and drift.empty_share is not None:
        found.append(
            f"Of the places read, {drift.empty_share:.0%} hold nothing now, and {empty:.0%} did "
            "before: it has filled."
        )
    if now.errors > before.errors:
        found.append(f"md corrected {now.errors - before.errors} more of its read errors since.")
    if now.bad_block_ranges > before.bad_block_ranges:
        found.append(f"md lists {now.bad_block_ranges} of its ranges as unreadable.")
    if now.mismatch_bytes > before.mismatch_bytes:
        found.append("The last check found more that disagrees than the one before.")
    return found
