"""Footage on a terminal: the catalogue, what is needed, what an array carries."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.judge import ArrayVerdict
from arraygauge.judge.footage_values import Basis, Carried, FootageVerdict, Promise
from arraygauge.tell.footage import (
    both_rates,
    carried_words,
    headroom_words,
    per_cent,
    promise_words,
    streams_words,
    survives,
)
from arraygauge.tell.footage_lists import codec_table, notes, serial_lines
from arraygauge.tell.sentences import rate_with_uncertainty, shape_phrase, why_not
from arraygauge.theory.conditions import POSITIONING_SECONDS, Condition
from arraygauge.theory.footage import needed_bytes_per_second
from arraygauge.units import format_binary, format_capacity, format_duration

TARGET_WORDS = "real files run 5 to 10 % below that"


def print_catalogue(console: Console) -> None:
    """Every codec and picture that is known, with its source."""
    found = codec_table()
    console.print(Text("Mb/s of one stream at so many frames a second; 8 Mb/s are 1 MB/s", "bold"))
    codecs = _table("codec", "picture")
    for rate in found.columns:
        codecs.add_column(f"{rate} ", justify="right", no_wrap=True)
    codecs.add_column("source")
    for line in found.lines:
        codecs.add_row(*map(Text, line))
    console.print(codecs)
    for source in found.sources:
        console.print(Padding(Text(source, "dim"), (0, 0, 0, 2)))
    console.print()
    serial = _table("picture", "frames a second", "samples x lines", "serial, 4:2:2 at 10 bits")
    for line in serial_lines():
        serial.add_row(*map(Text, line))
    console.print(serial)
    console.print()
    for note in notes():
        console.print(Text(note, "dim"))


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


def print_need(console: Console, promise: Promise) -> None:
    """What so many streams need, in Mb/s and in MB/s."""
    console.print(Text(promise.stream.name, "bold"))
    _print_rows(console, _needs(promise))


def _needs(promise: Promise) -> Iterable[tuple[str, str]]:
    stream, count = promise.stream, promise.streams or 1
    frame = stream.frame_bytes
    average = " on average" if stream.target else ""
    size = "" if frame is None else f", a frame of {format_capacity(float(frame))}{average}"
    yield "one stream", both_rates(stream.bits_per_second) + size
    if count > 1:
        yield streams_words(count), both_rates(count * stream.bits_per_second)
    if promise.headroom:
        needed = needed_bytes_per_second(stream, count, promise.headroom)
        yield "needed", f"{both_rates(8 * needed)} of the array, {headroom_words(promise)}"
    size = format_binary(stream.transfer_bytes)
    yield "read in", f"files of {size}, one a frame" if stream.sequence else f"{size} at a time"
    yield "source", _source(promise)


def _source(promise: Promise) -> str:
    stream = promise.stream
    memory = ", from memory" if stream.source.from_memory else ""
    target = f"; {TARGET_WORDS}" if stream.target else ""
    note = f" ({stream.note})" if stream.note else ""
    return f"{stream.source.text}{memory}{note}{target}"


def print_carried(console: Console, verdict: ArrayVerdict) -> None:
    """What one array carries of what is asked for, in every condition."""
    title = Text.assemble((verdict.array.name, "bold"), "  ", shape_phrase(verdict.array))
    console.print(title)
    measured = rate_with_uncertainty(verdict.attempt)
    said = measured or f"not measured: {why_not(verdict.attempt)}"
    _print_rows(console, [("measured", said)])
    for each in verdict.footage:
        _print_footage(console, each)


def _print_footage(console: Console, verdict: FootageVerdict) -> None:
    console.print(Padding(Text(promise_words(verdict)), (0, 0, 0, 2)))
    table = _table("", "streams", "without headroom", "MB/s", "Mb/s", "")
    for each in verdict.carried:
        table.add_row(
            Text(f"{each.condition}, now" if each.now else str(each.condition)),
            Text(carried_words(each)),
            Text(f"at most {each.bare_streams}"),
            *map(Text, _rates(each)),
            Text("measured" if each.basis is Basis.MEASURED else "predicted", "dim"),
        )
    console.print(Padding(table, (0, 0, 0, 4)))
    for note in _notes(verdict):
        console.print(Padding(Text(note, "dim"), (0, 0, 0, 4)))


def _rates(carried: Carried) -> tuple[str, str]:
    """Both ends, in MB/s and in Mb/s."""
    ends = (carried.least_bytes_per_second, carried.most_bytes_per_second)
    alike = ends[0] > 0.995 * ends[1]
    bytes_words = [f"{rate / 1e6:.{0 if rate > 99.95e6 else 1}f}" for rate in ends]
    bits_words = [f"{8 * rate / 1e6:.0f}" for rate in ends]
    return _ends(bytes_words, alike=alike), _ends(bits_words, alike=alike)


def _ends(words: list[str], *, alike: bool) -> str:
    return words[1] if alike else f"{words[0]} to {words[1]}"


def _notes(verdict: FootageVerdict) -> Iterable[str]:
    """What the figures stand on."""
    if not verdict.carried or verdict.grasp is None:
        return
    promise = verdict.promise
    rebuilds = any(each.condition is Condition.REBUILDING for each in verdict.carried)
    if promise.headroom:
        yield f"Streams are counted {headroom_words(promise)}."
    if promise.streams != 1 and any(each.basis is Basis.MEASURED for each in verdict.carried):
        yield "Its rate was measured with one stream; what more of them cost is the model's."
    if not survives(verdict):
        yield "No stream is carried once a member is lost: the level has no redundancy left for it."
    if rebuilds:
        yield (
            "Rebuilding: at most where the kernel slows the rebuild to its minimum for whoever "
            "reads, at least where it does not."
        )
    if not verdict.grasp.heads.isdisjoint(verdict.grasp.rates):
        yield (
            f"Its hard disks are taken to need {format_duration(POSITIONING_SECONDS)} to go from "
            "one stream to another (common practice); at least where they do so for each read."
        )
    if promise.stream.sequence:
        yield "Each frame is a file of its own, taken to lie anywhere."
    if verdict.grasp.share < 1:
        yield (
            f"It was measured at {per_cent(round(100 * verdict.grasp.share) / 100)} of what is "
            "expected; the other conditions are predicted as much lower."
        )


def _print_rows(console: Console, facts: Iterable[tuple[str, str]]) -> None:
    rows = Table.grid(padding=(0, 2))
    rows.add_column(style="dim", no_wrap=True)
    rows.add_column()
    for label, words in facts:
        rows.add_row(label, Text(words))
    console.print(Padding(rows, (0, 0, 0, 2)))
