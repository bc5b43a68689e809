"""The terminal: one block an array, one line a drive."""

from __future__ import annotations

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.inventory.values import SyncAction
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Pace, Protection, Status, WriteVerdict
from arraygauge.judge.footage_values import FootageVerdict, Holding
from arraygauge.judge.pace import rate_of
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.tell.footage import elsewhere_words, promise_words
from arraygauge.tell.sentences import (
    array_sentence,
    band_phrase,
    bottleneck_phrase,
    device_sentence,
    protection_phrase,
    rate_with_uncertainty,
    shape_phrase,
    since_trial_phrase,
    sync_phrase,
)
from arraygauge.tell.writes import write_phrase, write_remarks
from arraygauge.theory import Expectation
from arraygauge.units import format_capacity, format_rate

_PACE_STYLES = {
    Pace.AS_EXPECTED: "bold green",
    Pace.SHORT: "bold yellow",
    Pace.ABOVE: "bold cyan",
    Pace.NO_REFERENCE: "bold",
    Pace.NOT_MEASURED: "bold",
}
_ALARMS = {
    Protection.BROKEN: "broken",
    Protection.NONE_LEFT: "degraded, no redundancy left",
    Protection.REDUCED: "degraded",
    Protection.STOPPED: "stopped",
    Protection.UNKNOWN: "state unknown",
}


def print_status(console: Console, status: Status) -> None:
    """A whole pass for a person to read."""
    if not status.arrays:
        console.print("No md arrays on this machine: its drives are measured by themselves.\n")
    for verdict in status.arrays:
        _print_array(console, verdict, status.devices)
    if status.devices:
        console.print(_drives(status.devices))
    for written in status.writes:
        _print_write(console, written)
    if spent := _spent(status):
        console.print(Text(spent), style="dim")
    for problem in status.host.problems:
        console.print(Text(f"could not read {problem.path}: {problem.detail}"), style="dim")


def _spent(status: Status) -> str:
    """What the pass read of what, and for how long the drives were busy with it."""
    attempts = [verdict.attempt for verdict in status.arrays]
    attempts += [verdict.attempt for verdict in status.devices]
    made = [attempt for attempt in attempts if isinstance(attempt, Measurement)]
    if not made:
        return ""
    size = sum(attempt.bytes_read for attempt in made)
    seconds = sum(attempt.seconds for attempt in made)
    return f"read {format_capacity(size)} in {seconds:.1f} s of {status.seconds:.1f} s"


def _print_array(
    console: Console, verdict: ArrayVerdict, devices: tuple[DeviceVerdict, ...]
) -> None:
    title = Text.assemble(
        (verdict.array.name, "bold"), "  ", shape_phrase(verdict.array), "  ", _headline(verdict)
    )
    console.print(title)
    rows = Table.grid(padding=(0, 2))
    rows.add_column(style="dim", no_wrap=True)
    rows.add_column()
    for label, value in _facts(verdict, devices):
        rows.add_row(label, value)
    console.print(Padding(rows, (0, 0, 0, 2)))
    console.print(Padding(Text(array_sentence(verdict)), (0, 0, 1, 2)))


def _print_write(console: Console, verdict: WriteVerdict) -> None:
    style = "yellow" if verdict.pace is Pace.SHORT else ""
    phrase = Text(write_phrase(verdict), style)
    console.print(Text.assemble((f"{verdict.name} writes", "bold"), "  ", phrase))
    for remark in write_remarks(verdict):
        console.print(Padding(Text(remark, "dim"), (0, 0, 0, 2)))


def _headline(verdict: ArrayVerdict) -> Text:
    """Protection first when it is in question, then pace."""
    pace = Text(str(verdict.pace), _PACE_STYLES[verdict.pace])
    word = _ALARMS.get(verdict.health.protection)
    return pace if word is None else Text.assemble((word, "bold red"), ", ", pace)


def _facts(verdict: ArrayVerdict, devices: tuple[DeviceVerdict, ...]) -> list[tuple[str, Text]]:
    facts = [
        ("expected", _text(band_phrase(verdict.expectation) if verdict.expectation else "unknown")),
        ("measured", _text(_measured_phrase(verdict.attempt, verdict.ratio, verdict.expectation))),
    ]
    if verdict.since_trial is not None:
        facts.append(("before", _text(since_trial_phrase(verdict.since_trial))))
    if verdict.expectation is not None:
        facts.append(("bottleneck", _text(bottleneck_phrase(verdict.expectation.bottleneck))))
    facts.append(("members", _members_line(verdict, devices)))
    if verdict.array.sync_action not in (None, SyncAction.IDLE):
        facts.append(("busy with", _text(sync_phrase(verdict.array))))
    facts.append(("protection", _text(protection_phrase(verdict.health, verdict.array.level))))
    facts += [("footage", _footage(each)) for each in verdict.footage]
    return facts


def _footage(verdict: FootageVerdict) -> Text:
    """Whether it holds, and below it what else the array would carry of it."""
    now = verdict.now
    holding = now.holding(verdict.promise) if now is not None else None
    style = "bold yellow" if holding in (Holding.TIGHT, Holding.FAILS) else ""
    line = Text(promise_words(verdict), style)
    elsewhere = elsewhere_words(verdict)
    return Text.assemble(line, "\n", (elsewhere, "dim")) if elsewhere else line


def _text(words: str) -> Text:
    return Text(words)


def _measured_phrase(attempt: Attempt, ratio: float | None, expectation: Expectation | None) -> str:
    """The rate, and its share of what was expected where that is one figure or it is outside."""
    rate = rate_of(attempt)
    if rate is None:
        return "not measured"
    said = rate_with_uncertainty(attempt)
    if ratio is None or expectation is None:
        return said
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    if floor < 0.995 * ceiling and floor <= rate <= ceiling:
        return f"{said}, within it"
    if rate < floor:
        return f"{said}, {rate / floor:.0%} of expected"
    return f"{said}, {ratio:.0%} of expected"


def _members_line(verdict: ArrayVerdict, devices: tuple[DeviceVerdict, ...]) -> Text:
    rates = {device.device.name: rate_of(device.attempt) for device in devices}
    odd = {member.name for member in verdict.odd_members}
    line = Text()
    for member in verdict.array.members:
        rate = rates.get(member.name)
        words = f"{member.name} {format_rate(rate)}" if rate else f"{member.name} –"
        line.append("   " if line else "")
        line.append(
            f"{words} (odd)" if member.name in odd else words,
            "bold yellow" if member.name in odd else "",
        )
    return line


def _drives(devices: tuple[DeviceVerdict, ...]) -> RenderableType:
    """One line of figures a drive, and its sentence below where it has one to tell."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("drive")
    table.add_column("attached")
    table.add_column("size", justify="right")
    table.add_column("measured", justify="right")
    table.add_column("of expected", justify="right")
    table.add_column("verdict", overflow="fold")
    for verdict in devices:
        device = verdict.device
        table.add_row(
            Text(device.name),
            Text(str(device.transport)),
            Text(format_capacity(device.size_bytes) if device.size_bytes else "unknown"),
            Text(rate_with_uncertainty(verdict.attempt) or "not measured"),
            Text(f"{verdict.ratio:.0%}" if verdict.ratio is not None else ""),
            Text(device_sentence(verdict), "yellow" if verdict.pace is Pace.SHORT else ""),
        )
    return table
