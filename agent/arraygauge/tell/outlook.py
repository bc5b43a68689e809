"""The safety side of an array and its chunk size, for a person."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.inventory.values import Array
from arraygauge.theory.chunks import ChunkChoice, recommended
from arraygauge.theory.prospects import Prospects
from arraygauge.theory.rebuild import Limit, SyncPace
from arraygauge.units import format_binary, format_capacity, format_duration


def print_prospects(
    console: Console, array: Array, choices: tuple[ChunkChoice, ...], prospects: Prospects
) -> None:
    """Capacity, failures survived, a rebuild's time and risk, and the chunk size."""
    console.print(Text(f"{array.name}: outlook", "bold"))
    rows = Table.grid(padding=(0, 2))
    rows.add_column(style="dim", no_wrap=True)
    rows.add_column()
    for label, words in _facts(array, choices, prospects):
        rows.add_row(label, Text(words))
    console.print(Padding(rows, (0, 0, 0, 2)))


def _facts(
    array: Array, choices: tuple[ChunkChoice, ...], prospects: Prospects
) -> list[tuple[str, str]]:
    facts = [
        ("usable", _capacity_phrase(prospects)),
        ("survives", _survival_phrase(prospects)),
        ("rebuild", rebuild_phrase(prospects)),
    ]
    if prospects.unreadable:
        facts.append(("unreadable", _unreadable_phrase(prospects)))
    advice = chunk_phrase(array, choices)
    if advice is not None:
        facts.append(("chunk", advice))
    facts.append(("remember", "an array is not a backup: keep a second copy elsewhere"))
    return facts


def _capacity_phrase(prospects: Prospects) -> str:
    size = prospects.capacity
    share = f"{format_capacity(size.usable_bytes)}, {size.efficiency:.0%} of its drives"
    idle = f"; {format_capacity(size.idle_bytes)} lie idle" if size.idle_bytes > 10**9 else ""
    return share + idle


def _survival_phrase(prospects: Prospects) -> str:
    spare = prospects.survivable
    lucky = f", at best {spare.at_best}" if spare.at_best > spare.guaranteed else ""
    return f"{spare.guaranteed} more failure(s) for certain{lucky}"


def rebuild_phrase(prospects: Prospects) -> str:
    """From the fastest to the slowest, and what sets each."""
    band = prospects.rebuild
    if band is None:
        return "nothing to rebuild from"
    return (
        f"{_pace(band.fastest)} with nobody else using it, "
        f"to {_pace(band.slowest)} under constant use"
    )


def _pace(pace: SyncPace) -> str:
    if isinstance(pace.bound_by, Limit):
        setter = f"{pace.bound_by}, taken to be at its default"
    else:
        setter = pace.bound_by.name
    return f"{format_duration(pace.seconds)} (set by {setter})"


def _unreadable_phrase(prospects: Prospects) -> str:
    bounds = " and ".join(
        f"{bound.probability:.2g} for drives specified at {bound.errors_per_bit:.0e} a bit"
        for bound in prospects.unreadable
    )
    read = format_capacity(prospects.unreadable[0].bytes_read)
    return (
        f"a rebuild reads {read}; the chance of an unreadable sector is at most {bounds}: "
        "bounds of a specification, not forecasts; most drives do far better"
    )


def chunk_phrase(array: Array, choices: tuple[ChunkChoice, ...]) -> str | None:
    """Whether the chunk size suits these reads, and which would."""
    here = next((choice for choice in choices if choice.chunk_bytes == array.chunk_bytes), None)
    best = recommended(choices)
    if here is None or best is None:
        return None
    fact = (
        f"{format_binary(here.chunk_bytes)} keeps {here.members_busy} members busy with these reads"
    )
    if here.cost_share <= 0.02:
        return fact
    return f"{fact} and costs {here.cost_share:.0%}; {format_binary(best.chunk_bytes)} would not"
