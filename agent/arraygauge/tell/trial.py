"""A trial for a person: what it would erase, what it measured beside the model, and its choice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Choice, Compared, Trialled
from arraygauge.probe.writes.endurance import ASSUMED_FULL_WRITES
from arraygauge.tell.plan_words import band, failures
from arraygauge.tell.trial_plot import plot_of
from arraygauge.theory.plan import Option
from arraygauge.units import format_binary, format_capacity, format_duration, format_rate
from arraygauge.values import frozen

MOST_COLUMNS = 100


@frozen
class DriveToErase:
    """One drive as it is shown before anything is erased. Of the ``places`` looked at
    ``trial_blocks`` hold what an earlier trial wrote, and ``strange_at`` is where the first lies
    that holds anything else; ``most_bytes`` is the most that is written to it, of the
    ``endurance_bytes`` that are declared."""

    stable_id: str
    name: str
    model: str | None
    serial: str | None
    size_bytes: int
    places: int
    trial_blocks: int
    strange_at: int | None
    most_bytes: int
    endurance_bytes: int | None


@frozen
class Written:
    """What one trial wrote to a drive, of the endurance that is declared; bytes."""

    name: str
    size_bytes: int
    written_bytes: int
    endurance_bytes: int | None


@frozen
class TrialTelling:
    """All that is shown of a trial: each drive alone, options measured and predicted, those of
    which nothing can be predicted, the choice, and what was written to each drive."""

    alone: Sequence[Trialled]
    compared: Sequence[Compared]
    unpredicted: Sequence[Trialled]
    choice: Choice | None
    finished: bool
    left: int
    written: Sequence[Written] = ()


def print_erasure(console: Console, drives: Sequence[DriveToErase], options: int) -> None:
    """Exactly what is destroyed, and how much is written against the drives' endurance."""
    count = f"{len(drives)} drive{'' if len(drives) == 1 else 's'}"
    console.print(Text(f"What is on these {count} will be destroyed:", "bold"))
    for each in drives:
        console.print(Padding(Text(each.stable_id, "bold"), (0, 0, 0, 2)))
        facts = [each.name, each.model, f"serial {each.serial or 'none'}"]
        words = ", ".join(fact for fact in facts if fact)
        for line in (
            f"{words}, {format_capacity(each.size_bytes)}",
            f"holds: {_contents(each)}",
            f"written at most: {_wear(each.most_bytes, each.endurance_bytes, each.size_bytes)}",
        ):
            console.print(Padding(Text(line), (0, 0, 0, 4)))
    console.print(
        Text(
            f"{options} arrays are built of them one after the other, without metadata, measured "
            "and taken down. No array is left; random data is. The first and the last MiB of "
            "each drive are not written to."
        )
    )


def _contents(each: DriveToErase) -> str:
    if each.strange_at is not None:
        return f"DATA, at byte {each.strange_at}, of no known kind"
    if each.trial_blocks:
        return (
            f"what an earlier trial wrote, else blank ({each.places} places looked at, no known "
            "signature)"
        )
    return f"blank at all {each.places} places looked at, no known signature"


def _wear(written: int, declared: int | None, size_bytes: int) -> str:
    return f"{format_capacity(written)}, {share_of_life(written, declared, size_bytes)}"


def share_of_life(written: int, declared: int | None, size_bytes: int) -> str:
    """So much of what a drive endures, and on what that stands; all in bytes."""
    whole = declared or ASSUMED_FULL_WRITES * size_bytes
    if not whole:
        return "its endurance is not known"
    percent = 100 * written / whole
    share = f"{percent:.0f} % of" if percent >= 10 else f"{percent:.2g} % of"
    if declared:
        return f"{share} its rated endurance {format_capacity(declared)}"
    return f"{share} {ASSUMED_FULL_WRITES} writes of the whole drive (no endurance is declared)"


def print_trial(console: Console, telling: TrialTelling) -> None:
    """The table, the plots and the choice."""
    _print_alone(console, telling.alone)
    if telling.compared:
        console.print(Text("Measured, and predicted from these rates (MB/s):", "bold"))
        console.print(Padding(_table(telling), (0, 0, 1, 2)))
        _print_misses(console, telling.compared)
        _print_plots(console, telling.compared)
    for each in telling.unpredicted:
        console.print(Text(f"{option_phrase(each.option)}: {_measured_phrase(each)}"))
    _print_choice(console, telling.choice)
    if not telling.finished:
        console.print(
            Text(
                f"{telling.left} options are left: the same command goes on with them.",
                "bold yellow",
            )
        )
    for drive in telling.written:
        wear = _wear(drive.written_bytes, drive.endurance_bytes, drive.size_bytes)
        console.print(Text(f"{drive.name}: written now {wear}", "dim"))


def option_phrase(option: Option) -> str:
    """'raid5 of 4, chunk 512 KiB', 'sda alone'."""
    if option.width == 1:
        return f"{option.members[0]} alone"
    chunk = f", chunk {format_binary(option.chunk_bytes)}" if option.chunk_bytes else ""
    return f"{option.name} of {option.width}{chunk}"


def figure(found: Figure | None) -> str:
    """MB/s and half the interval's width, where there is one."""
    if found is None:
        return "–"
    rate = format_rate(found.rate).removesuffix(" MB/s")
    unsure = found.uncertainty
    return rate if unsure is None else f"{rate} ± {100 * unsure:.1f} %"


def _measured_phrase(each: Trialled) -> str:
    if each.problem is not None:
        return f"not measured: {each.problem}"
    return f"reads {figure(each.read)}, writes {figure(each.write)} MB/s"


def _print_alone(console: Console, alone: Iterable[Trialled]) -> None:
    held = tuple(alone)
    if not held:
        return
    console.print(Text("Each drive alone (MB/s):", "bold"))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("drive")
    table.add_column("reads", justify="right")
    table.add_column("writes", justify="right")
    table.add_column("", overflow="fold")
    for each in held:
        cells = (each.option.members[0], figure(each.read), figure(each.write), each.problem or "")
        table.add_row(*map(Text, cells))
    console.print(Padding(table, (0, 0, 1, 2)))


def _table(telling: TrialTelling) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("level", no_wrap=True)
    for label in ("drives", "chunk", "room", "survives", "read", "model", "write", "model"):
        table.add_column(label, justify="right", no_wrap=True)
    chosen = telling.choice.measured if telling.choice is not None else None
    for each in telling.compared:
        table.add_row(*_cells(each, each is chosen))
    return table


def _cells(each: Compared, marked: bool) -> tuple[Text, ...]:
    option, found = each.trialled.option, each.prediction
    style = "bold" if marked else ""
    plain = (
        f"{'▸' if marked else ' '} {option.name}",
        str(option.width),
        format_binary(option.chunk_bytes) if option.chunk_bytes else "–",
        format_capacity(found.capacity.usable_bytes),
        failures(found.survives),
    )
    return (
        *(Text(words, style) for words in plain),
        _figure_cell(each.trialled.read, each.read_miss, style),
        Text(band(found.read), style),
        _figure_cell(each.trialled.write, each.write_miss, style),
        Text(band(found.write), style),
    )


TOLD_SHARE = 0.05
"""A figure further outside what was predicted is marked."""


def _is_off(miss: float | None) -> bool:
    return miss is not None and abs(miss) > TOLD_SHARE


def _figure_cell(found: Figure | None, miss: float | None, style: str) -> Text:
    if not _is_off(miss):
        return Text(figure(found), style)
    return Text(f"† {figure(found)}", f"{style} yellow")


def _print_misses(console: Console, compared: Sequence[Compared]) -> None:
    """How far the model was off, said once."""
    for label, misses in (
        ("reads", [each.read_miss for each in compared]),
        ("writes", [each.write_miss for each in compared]),
    ):
        known = [abs(miss) for miss in misses if miss is not None]
        if known:
            off = sum(each > TOLD_SHARE for each in known)
            words = f"{label}: at most {100 * max(known):.1f} % outside what was predicted"
            console.print(
                Padding(Text(f"{words}; {off} of {len(known)} by more than 5 % (†)"), (0, 2))
            )
    for each in compared:
        if each.trialled.problem is not None:
            words = f"{option_phrase(each.trialled.option)}: {_measured_phrase(each.trialled)}"
            console.print(Padding(Text(words, "yellow"), (0, 2)))
    console.print()


def _print_plots(console: Console, compared: Sequence[Compared]) -> None:
    width = min(console.width, MOST_COLUMNS) - 4
    for label, of_writes in (("Reads", False), ("Writes", True)):
        lines = plot_of(compared, width, of_writes=of_writes)
        if lines:
            console.print(
                Text(f"{label}, of each level and number of drives the best chunk:", "bold")
            )
            for line in lines:
                console.print(Padding(Text(line), (0, 0, 0, 2)))
    if compared:
        console.print(Padding(Text("█ measured   ░ predicted, from ├ to ┤", "dim"), (0, 0, 1, 2)))


def _print_choice(console: Console, choice: Choice | None) -> None:
    if choice is None:
        return
    best, expected = choice.measured, choice.predicted
    console.print(
        Text.assemble(
            ("Recommended by what was measured: ", "bold"),
            f"{option_phrase(best.trialled.option)}, {_measured_phrase(best.trialled)}, room "
            f"{format_capacity(best.prediction.capacity.usable_bytes)}.",
        )
    )
    if best is expected:
        console.print("The model recommends the same.")
    elif choice.agree:
        console.print(
            f"The model recommends {option_phrase(expected.trialled.option)}: as good as that, "
            "within what a repeated measurement differs by."
        )
    else:
        console.print(
            f"The model recommends {option_phrase(expected.trialled.option)}, which measured "
            f"worse: {_measured_phrase(expected.trialled)}."
        )
    console.print("The most balanced of room, reading and writing that survives a failure.\n")


def time_phrase(seconds: float) -> str:
    """An estimate."""
    return f"about {format_duration(seconds)}"
