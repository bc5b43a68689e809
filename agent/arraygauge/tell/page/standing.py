"""How an array fares: protection first when that is in question, then pace."""

from __future__ import annotations

from arraygauge.judge import ArrayVerdict, Health, Pace, Protection
from arraygauge.judge.findings import Severity
from arraygauge.tell.page.values import Standing, Tone

_PROTECTION = {
    Protection.BROKEN: Standing(tone=Tone.CRITICAL, words="Broken"),
    Protection.NONE_LEFT: Standing(tone=Tone.CRITICAL, words="No redundancy left"),
    Protection.REDUCED: Standing(tone=Tone.WARNING, words="Less redundancy"),
    Protection.STOPPED: Standing(tone=Tone.UNKNOWN, words="Stopped"),
    Protection.UNKNOWN: Standing(tone=Tone.UNKNOWN, words="State unknown"),
}
_PACE = {
    Pace.SHORT: Standing(tone=Tone.WARNING, words="Slower than it should be"),
    Pace.AS_EXPECTED: Standing(tone=Tone.FINE, words="As expected"),
    Pace.ABOVE: Standing(tone=Tone.FINE, words="Faster than expected"),
    Pace.NO_REFERENCE: Standing(tone=Tone.UNKNOWN, words="Nothing to compare with"),
    Pace.NOT_MEASURED: Standing(tone=Tone.UNKNOWN, words="Not measured"),
}
SEVERITY_TONES = {
    Severity.INFORMATION: Tone.UNKNOWN,
    Severity.MINOR: Tone.WARNING,
    Severity.MAJOR: Tone.WARNING,
    Severity.CRITICAL: Tone.CRITICAL,
}


def standing_of(health: Health, verdict: ArrayVerdict | None) -> Standing:
    """By the latest look at its health, and the latest pass."""
    if (endangered := _PROTECTION.get(health.protection)) is not None:
        return endangered
    if verdict is None:
        return _PACE[Pace.NOT_MEASURED]
    if verdict.odd_members and verdict.pace is not Pace.SHORT:
        return Standing(tone=Tone.WARNING, words="A member is not like its peers")
    return _PACE[verdict.pace]


def summary_of(names: list[str], standings: list[Standing]) -> Standing:
    """The whole machine in one sentence."""
    if not names:
        return Standing(tone=Tone.UNKNOWN, words="No arrays on this machine.")
    for tone in (Tone.CRITICAL, Tone.WARNING):
        found = [n for n, each in zip(names, standings, strict=True) if each.tone is tone]
        if found:
            return Standing(tone=tone, words=_need(found, len(names), tone))
    unknown = [n for n, each in zip(names, standings, strict=True) if each.tone is Tone.UNKNOWN]
    if unknown:
        words = f"Nothing is known to be wrong, but of {_listed(unknown)} too little is known."
        return Standing(tone=Tone.UNKNOWN, words=words)
    every = "The array does what it should." if len(names) == 1 else "All arrays do as they should."
    return Standing(tone=Tone.FINE, words=every)


def _need(found: list[str], total: int, tone: Tone) -> str:
    what = "now" if tone is Tone.CRITICAL else "when there is time"
    verb = "needs" if len(found) == 1 else "need"
    rest = total - len(found)
    others = f" The other {rest} can wait." if rest > 1 else ""
    return f"{_listed(found)} {verb} you {what}.{others}"


def _listed(names: list[str], most: int = 4) -> str:
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
