"""Stalls for a person and for a script."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from arraygauge.history.stalls import StallRecord

MOST_SHOWN = 10


def stalls_document(stalls: Sequence[StallRecord]) -> list[dict[str, Any]]:
    """Oldest first."""
    return [
        {
            "stable_id": each.stable_id,
            "name": each.name,
            "began_at_seconds": each.began_at_seconds,
            "milliseconds": each.milliseconds,
            "error_milliseconds": each.error_milliseconds,
            "frames": round(each.frames, 1),
            "frames_per_second": each.frames_per_second,
            "in_flight": each.in_flight,
            "hang": each.hang,
        }
        for each in stalls
    ]


def print_stalls(console: Console, stalls: Sequence[StallRecord]) -> None:
    """The latest, newest first; nothing where there are none."""
    if not stalls:
        return
    shown = stalls[-MOST_SHOWN:]
    of_all = f", the latest {len(shown)} of {len(stalls)}" if len(shown) < len(stalls) else ""
    console.print(Text.assemble("\n", ("Stalls", "bold"), f" (requests waited{of_all})"))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for heading, justify in (("when", "left"), ("drive", "left"), ("", "right"), ("", "left")):
        table.add_column(heading, justify=justify)  # type: ignore[arg-type]
    for each in reversed(shown):
        table.add_row(
            Text(time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(each.began_at_seconds))),
            Text(each.name),
            Text(f"{each.milliseconds} ms ± {each.error_milliseconds}"),
            Text(_frames(each), "yellow" if each.hang else ""),
        )
    console.print(table)


def _frames(stall: StallRecord) -> str:
    hang = ", a hang" if stall.hang else ""
    return f"{stall.frames:.0f} frames at {stall.frames_per_second:g} a second{hang}"
