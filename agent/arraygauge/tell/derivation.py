"""A derivation for a person: every resource, how busy it is, and what would raise the figure."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from arraygauge.inventory.values import Array
from arraygauge.tell.sentences import band_phrase
from arraygauge.theory import Derivation, Direction, Expectation, Use, Workload
from arraygauge.units import format_binary, format_rate

BAR_CELLS = 14


def print_derivation(
    console: Console, array: Array, workload: Workload, derivation: Derivation | None
) -> None:
    """One workload of one array."""
    console.print(Text(f"{array.name}: {workload_phrase(workload)}", "bold"))
    if derivation is None:
        console.print(Padding(Text(_unknown_phrase(workload)), (0, 0, 1, 2)))
        return
    expectation = derivation.expectation
    console.print(Padding(Text(f"expected  {band_phrase(expectation)}"), (0, 0, 0, 2)))
    console.print(Padding(_uses(expectation), (0, 0, 0, 2)))
    for line in (*raising(derivation), *(f"given: {given}" for given in expectation.assumptions)):
        console.print(Padding(Text(line), (0, 0, 0, 2)))
    console.print()


def workload_phrase(workload: Workload) -> str:
    streams = f", {workload.streams} streams" if workload.streams > 1 else ""
    return (
        f"{workload.access} {workload.direction} of {format_binary(workload.transfer_bytes)}, "
        f"{workload.queue_depth} in flight{streams}"
    )


def _unknown_phrase(workload: Workload) -> str:
    if workload.direction is Direction.WRITE:
        return (
            "not known: writes are not measured, so say what the drives can with "
            "write_mb_per_second in the configuration's [[drive]] entries"
        )
    return "not known: no member could be measured, or the array's data is incomplete"


def _uses(expectation: Expectation) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("resource")
    table.add_column("MB/s", justify="right")
    table.add_column("known by")
    table.add_column("ns/byte", justify="right")
    table.add_column("busy", no_wrap=True)
    for group in _alike(expectation):
        first = group[0]
        binding = expectation.bottleneck in [use.resource for use in group]
        table.add_row(
            Text(_names(group), "bold" if binding else ""),
            f"{_capacity(first, expectation.workload) / 1e6:.4g}",
            str(first.resource.source),
            f"{first.demand_seconds_per_byte * 1e9:.2f}",
            _bar(first.utilisation, " bottleneck" if binding else ""),
        )
    return table


def _alike(expectation: Expectation) -> list[list[Use]]:
    """Resources of one kind and source that are equal in what is shown, together."""
    groups: dict[tuple[object, ...], list[Use]] = {}
    for use in expectation.uses:
        capacity = _capacity(use, expectation.workload)
        shown = (
            use.resource.kind,
            use.resource.source,
            f"{capacity:.2g}",
            f"{use.demand_seconds_per_byte:.2g}",
            f"{use.utilisation:.2f}",
        )
        groups.setdefault(shown, []).append(use)
    return list(groups.values())


def _names(group: list[Use]) -> str:
    first, *others = [use.resource.name for use in group]
    if len(others) < 2:
        return ", ".join((first, *others))
    return f"{first} and {len(others)} more"


def _capacity(use: Use, workload: Workload) -> float:
    if workload.direction is Direction.READ:
        return use.resource.read_bytes_per_second
    return use.resource.write_bytes_per_second


def _bar(utilisation: float, label: str) -> Text:
    filled = round(min(1.0, utilisation) * BAR_CELLS)
    return Text(f"{'■' * filled}{'·' * (BAR_CELLS - filled)} {utilisation:4.0%}{label}")


def raising(derivation: Derivation) -> list[str]:
    """What would raise the figure, and what would not."""
    expectation = derivation.expectation
    lines = []
    if derivation.depth_needed is not None:
        lines.append(
            f"raise it: {derivation.depth_needed} transfers in flight instead of "
            f"{expectation.workload.queue_depth} would keep the bottleneck busy"
        )
    if expectation.floor_bytes_per_second < 0.95 * expectation.ceiling_bytes_per_second:
        lines.append("the band is wide: what decides within it is said below, where it is known")
    lines.append(_relief(derivation))
    if derivation.widened is not None:
        lines.append(f"one member more: {_change(expectation, derivation.widened)}")
    return lines


def _relief(derivation: Derivation) -> str:
    names = derivation.binding
    what = names[0] if len(names) == 1 else f"these {len(names)} members"
    freed = derivation.relieved
    if freed is None:
        return f"{what} without limit: nothing else known would bound it"
    change = _change(derivation.expectation, freed)
    return f"{what} without limit: {change}, then {freed.bottleneck.name} binds"


def _change(before: Expectation, after: Expectation) -> str:
    gain = after.ceiling_bytes_per_second / before.ceiling_bytes_per_second - 1
    words = "no gain" if abs(gain) < 0.005 else f"{gain:+.0%}"
    return f"{format_rate(after.ceiling_bytes_per_second)}, {words}"
