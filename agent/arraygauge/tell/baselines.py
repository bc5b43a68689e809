"""What is held to be usual of a device and how far it is from that, for a person and a script."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.text import Text

from arraygauge.judge.baseline import READINGS_NEEDED, Baseline, Learning
from arraygauge.judge.drift import (
    CLIP,
    DriftFinding,
    Level,
    Watch,
    Watched,
    find_drift,
    present_level,
    watch_of,
)
from arraygauge.tell.reasons_drift import drift_share
from arraygauge.units import format_rate

GAUGE_HALF = 20
"""Cells to each side of the usual rate: the level shown goes no further than ``CLIP`` spreads."""
_WORDS = {
    Watch.LEARNING: "learning",
    Watch.UNMEASURED: "not measured lately",
    Watch.WATCHING: "watching",
}


def watched_of(watched: Iterable[Watched], stable_id: str) -> tuple[Watched, ...]:
    """All that is watched of one device, what was measured last first."""
    own = [each for each in watched if each.usual.key.stable_id == stable_id]
    return tuple(sorted(own, key=lambda each: each.state.unusable))


def watch_words(watched: Iterable[Watched]) -> Mapping[str, str]:
    """In a word or two for each stable id, by what was measured of it last."""
    every = tuple(watched)
    ids = {each.usual.key.stable_id for each in every}
    return {stable_id: _brief(watched_of(every, stable_id)[0]) for stable_id in ids}


def watched_document(watched: Sequence[Watched]) -> list[dict[str, Any]]:
    """Rates in bytes per second; shares are of the usual rate, negative for slower."""
    return [_document(each) for each in watched]


def print_watched(console: Console, watched: Sequence[Watched]) -> None:
    """What is usual, and a gauge of the present; nothing where nothing is watched."""
    for each in watched:
        console.print(Text.assemble((_heading(each), "dim"), " ", _sentence(each)))
        if isinstance(each.usual, Baseline):
            level = present_level(each.usual, each.state)
            if level is not None:
                console.print(Text(f"  {gauge(level, each.usual.spread)}"))


def gauge(level: Level, spread: float) -> str:
    """The present as a dot on a line of ``CLIP`` spreads to each side of the usual rate; in
    brackets what chance alone makes of it."""

    def cell(share: float) -> int:
        reach = max(-1.0, min(1.0, share / (CLIP * spread)))
        return GAUGE_HALF + round(reach * GAUGE_HALF)

    line = ["─"] * (2 * GAUGE_HALF + 1)
    line[GAUGE_HALF] = "┼"
    line[cell(level.low_share)], line[cell(level.high_share)] = "(", ")"
    line[cell(level.share)] = "●"
    edge = f"{100 * CLIP * spread:.0f} %"
    return f"slower -{edge} {''.join(line)} +{edge} faster"


def _brief(watched: Watched) -> str:
    if isinstance(watched.usual, Learning):
        return f"learning, {len(watched.usual.readings)} of {READINGS_NEEDED}"
    drift = find_drift(watched.usual, watched.state)
    return f"drifts, {drift_share(drift.share)}" if drift else _WORDS[watch_of(watched)]


def _heading(watched: Watched) -> str:
    key = watched.usual.key
    return f"{key.direction} {key.workload}:"


def _sentence(watched: Watched) -> str:
    usual, state = watched.usual, watched.state
    if isinstance(usual, Learning):
        return f"learning what is usual, {len(usual.readings)} of {READINGS_NEEDED} readings"
    learned = time.strftime("%Y-%m-%d", time.localtime(usual.learned_at_seconds))
    base = (
        f"usual {format_rate(usual.bytes_per_second)} ± {100 * usual.spread:.1f} %, learned from "
        f"{usual.learned_from} readings until {learned}"
    )
    if watch_of(watched) is Watch.UNMEASURED:
        return f"{base}; the last {state.unusable} passes gave nothing to hold against it"
    return f"{base}; {_present(usual, watched)}"


def _present(usual: Baseline, watched: Watched) -> str:
    drift = find_drift(usual, watched.state)
    if drift is not None:
        return f"drifts: {drift_share(drift.share)} now"
    level = present_level(usual, watched.state)
    if level is None:
        return "nothing was read since"
    return f"{drift_share(level.share)} now, which is nothing unusual"


def _document(watched: Watched) -> dict[str, Any]:
    usual, key = watched.usual, watched.usual.key
    common = {
        "watch": _WORDS[watch_of(watched)],
        "direction": str(key.direction),
        "workload": key.workload,
        "readings_needed": READINGS_NEEDED,
        "passes_without_reading": watched.state.unusable,
    }
    if isinstance(usual, Learning):
        return {
            **common,
            "readings": len(usual.readings),
            "usual": None,
            "level": None,
            "drift": None,
        }
    level = present_level(usual, watched.state)
    return {
        **common,
        "readings": usual.learned_from,
        "usual": {
            "bytes_per_second": usual.bytes_per_second,
            "spread_share": usual.spread,
            "learned_at_seconds": usual.learned_at_seconds,
        },
        "level": asdict(level) if level is not None else None,
        "drift": _drift(find_drift(usual, watched.state)),
    }


def _drift(drift: DriftFinding | None) -> dict[str, Any] | None:
    if drift is None:
        return None
    return {
        "course": str(drift.course),
        "since_seconds": drift.onset.moment_seconds,
        "shape": str(drift.onset.shape),
        "share": drift.share,
        "low_share": drift.low_share,
        "high_share": drift.high_share,
        "share_per_day": drift.per_day,
        "passes": drift.passes,
    }
