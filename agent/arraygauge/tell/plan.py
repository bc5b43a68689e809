"""A plan for a person: the drives, the best options, the wall, what would change it, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.tell.cautions import cautions_for_levels
from arraygauge.tell.plan_plot import plot_of
from arraygauge.tell.plan_words import (
    asked_phrase,
    band,
    change_phrase,
    drive_lines,
    enough_phrase,
    failures,
    gain_phrase,
    limit_phrase,
    link_lines,
    notes_on,
    rough_duration,
)
from arraygauge.theory.plan import Plan, PlannedOption, gain_of
from arraygauge.theory.plan_changes import WhatIf
from arraygauge.theory.plan_front import by_balance
from arraygauge.units import KIB, format_capacity
from arraygauge.values import frozen

SHORT_LIST = 8
PLOT_HEIGHT = 12
MOST_COLUMNS = 100
WIDE = 96
"""Columns from which a row has room for everything."""


@frozen
class PlanTelling:
    """A plan with what surrounds it: how the drives' reading is known, by name; who was left out
    and why; what was asked to be otherwise; and what would change the first option."""

    plan: Plan
    known_by: Mapping[str, str] = field(default_factory=dict)
    left_out: Sequence[tuple[str, str]] = ()
    supposed: Sequence[str] = ()
    what_ifs: Sequence[WhatIf] = ()


def print_plan(console: Console, telling: PlanTelling, *, everything: bool) -> None:
    """Short, or with every option."""
    plan = telling.plan
    _print_supply(console, telling)
    if not plan.best:
        console.print("No array can be made of these: the fewest are two drives.")
        return
    _print_best(console, plan, everything=everything)
    if everything:
        _heading(console, "All others, by level, members and chunk:")
        console.print(_table(plan.others, console.width))
        console.print()
    _print_plot(console, plan)
    _print_what_ifs(console, plan, telling.what_ifs)
    _heading(console, "Before you choose:")
    for caution in cautions_for_levels({each.option.level for each in plan.best}):
        console.print(Padding(Text(caution), (0, 0, 0, 2)))


def _heading(console: Console, words: str) -> None:
    console.print(Text(words, "bold"))


def _indented(console: Console, lines: Iterable[str]) -> None:
    for line in lines:
        console.print(Padding(Text(line), (0, 0, 0, 2)))


def _print_supply(console: Console, telling: PlanTelling) -> None:
    plan = telling.plan
    count = len(plan.supply.drives)
    _heading(console, f"{count} drive{'' if count == 1 else 's'}")
    _indented(console, drive_lines(plan.supply, telling.known_by))
    _indented(console, link_lines(plan.supply))
    _indented(console, (f"left out: {name}, {why}" for name, why in telling.left_out))
    asked = plan.asked
    _indented(console, [f"asked: {asked_phrase(asked)}"])
    _indented(console, (f"supposed: {words}" for words in telling.supposed))
    console.print()


def _print_best(console: Console, plan: Plan, *, everything: bool) -> None:
    total = len(plan.options)
    shown = plan.best if everything else _short(plan.best)
    _heading(console, f"Of {total} options, none beats these in room, reading, writing and safety:")
    console.print(_table(shown, console.width, marked=plan.best[0]))
    hidden = len(plan.best) - len(shown)
    notes = list(notes_on(plan, shown))
    if not everything:
        more = f"{hidden} more that none beats and " if hidden else ""
        notes.append(f"{more}{len(plan.others)} that others beat: --all shows them")
    console.print(Padding(Text("\n".join(notes), "dim"), (0, 0, 1, 2)))
    beaten = _beaten(plan)
    if beaten and not everything:
        _heading(console, "The best of the levels that are not among them:")
        console.print(_table(beaten, console.width))
        console.print()


def _short(best: tuple[PlannedOption, ...]) -> tuple[PlannedOption, ...]:
    """The first ones, and the first of each family."""
    families = {each.option.family: each for each in reversed(best)}
    kept = (*best[:SHORT_LIST], *families.values())
    return tuple(each for each in best if each in kept)


def _beaten(plan: Plan) -> tuple[PlannedOption, ...]:
    """Of each family that has none among the best, the most balanced."""
    families = {each.option.family for each in plan.best}
    others: dict[object, list[PlannedOption]] = {}
    for each in plan.others:
        if each.option.family not in families:
            others.setdefault(each.option.family, []).append(each)
    return tuple(by_balance(group)[0] for group in others.values())


def _table(
    options: Sequence[PlannedOption], width: int, marked: PlannedOption | None = None
) -> Table:
    """Without the two columns that others can spare where there is no room for all."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="dim")
    table.add_column("  level", no_wrap=True)
    for label in ("drives", "KiB", "room", "survives", "read MB/s", "write MB/s"):
        table.add_column(label, justify="right", no_wrap=True)
    table.add_column("last drive", no_wrap=True)
    if width >= WIDE:
        table.add_column("rebuild", no_wrap=True)
        table.add_column("set by", overflow="ellipsis", no_wrap=True, max_width=18)
    for each in options:
        table.add_row(*_cells(each, each is marked)[: len(table.columns)])
    return table


def _cells(planned: PlannedOption, marked: bool) -> tuple[Text, ...]:
    option, found = planned.option, planned.prediction
    style = "bold" if marked else ""
    words = (
        f"{'▸' if marked else ' '} {option.name}",
        str(option.width),
        str(option.chunk_bytes // KIB) if option.chunk_bytes else "–",
        format_capacity(found.capacity.usable_bytes),
        failures(found.survives),
        band(found.read),
        band(found.write),
        gain_phrase(planned),
        rough_duration(found.rebuild.fastest.seconds) if found.rebuild else "–",
        limit_phrase(found),
    )
    return tuple(Text(each, style) for each in words)


def _print_plot(console: Console, plan: Plan) -> None:
    lines = plot_of(plan, min(console.width, MOST_COLUMNS) - 2, PLOT_HEIGHT)
    if not lines:
        return
    _heading(console, "Reading by the number of drives:")
    _indented(console, lines)
    _indented(console, enough_phrase(plan))
    console.print()


def _print_what_ifs(console: Console, plan: Plan, found: Sequence[WhatIf]) -> None:
    if not found:
        return
    first = plan.best[0]
    option = first.option
    _heading(console, f"What if, for {option.name} of {option.width}:")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("change", no_wrap=True)
    table.add_column("read MB/s", justify="right")
    table.add_column("", justify="right")
    table.add_column("write MB/s", justify="right")
    table.add_column("", justify="right")
    table.add_column("set by", no_wrap=True)
    for each in found:
        gain = gain_of(first.prediction, each.prediction)
        table.add_row(
            Text(each.change),
            Text(band(each.prediction.read)),
            Text(change_phrase(gain.read)),
            Text(band(each.prediction.write)),
            Text(change_phrase(gain.write)),
            Text(limit_phrase(each.prediction)),
        )
    console.print(Padding(table, (0, 0, 1, 2)))
