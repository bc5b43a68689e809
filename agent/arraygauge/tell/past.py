"""Past measurements for a person and for a script."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from arraygauge.history import MeasurementRecord
from arraygauge.history.days import DaySummary
from arraygauge.history.measurements import NOT_MADE, USUAL_READ, KnownDevice
from arraygauge.history.stalls import StallRecord
from arraygauge.judge import Pace
from arraygauge.tell.moments import minute
from arraygauge.tell.plot import Point, plot
from arraygauge.tell.stall_list import stalls_document
from arraygauge.units import format_duration, format_rate

HISTORY_FORMAT = "arraygauge.history/1"
MOST_ROWS = 10
PLOT_ROWS = 12


def history_json(
    device: KnownDevice,
    days: Iterable[DaySummary],
    records: Iterable[MeasurementRecord],
    stalls: Sequence[StallRecord] = (),
    watched: Sequence[Mapping[str, Any]] = (),
    *,
    trial: Mapping[str, Any] | None = None,
) -> str:
    """The document of `arraygauge history NAME --json`; rates in bytes per second. ``watched``
    is what is held to be usual (``baselines``), ``trial`` what was measured before an array was
    built (``trial_past``)."""
    return json.dumps(
        {
            "format": HISTORY_FORMAT,
            **asdict(device),
            "days": [asdict(each) for each in days],
            "measurements": [asdict(each) for each in records],
            "stalls": stalls_document(stalls),
            "watched": list(watched),
            "trial": trial,
        },
        indent=2,
        allow_nan=False,
    )


def devices_json(known: Iterable[KnownDevice], stalls: Sequence[StallRecord] = ()) -> str:
    """The document of `arraygauge history --json`."""
    devices = [asdict(each) for each in known]
    document = {"format": HISTORY_FORMAT, "devices": devices, "stalls": stalls_document(stalls)}
    return json.dumps(document, indent=2)


def print_known(
    console: Console,
    known: Sequence[KnownDevice],
    now_seconds: float,
    watches: Mapping[str, str] | None = None,
) -> None:
    """What there is a history of. ``watches`` says by stable id whether drift would be seen."""
    if not known:
        console.print("Nothing is kept yet: 'arraygauge run' keeps what it measures.")
        return
    watch = watches or {}
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for heading in ("name", "stable id", "last measured", "drift"):
        table.add_column(heading)
    for each in known:
        ago = format_duration(max(0.0, now_seconds - each.last_seconds))
        word = watch.get(each.stable_id, "not watched")
        table.add_row(Text(each.name), Text(each.stable_id), Text(f"{ago} ago"), Text(word))
    console.print(table)


def print_past(
    console: Console,
    device: KnownDevice,
    days: Sequence[DaySummary],
    records: Sequence[MeasurementRecord],
) -> None:
    """One device's past: a plot of the workload it was measured with most, and the latest."""
    console.print(Text.assemble((device.name, "bold"), f"  {device.stable_id}"))
    workload = _usual(days, records)
    if workload is not None:
        points = points_of(days, records, workload)
        for line in plot(points, min(console.width, 100), PLOT_ROWS):
            console.print(Text(line))
        banded = any(each.floor is not None for each in points)
        shaded = "; shaded: what was expected" if banded else ""
        console.print(Text(f"{workload}: {len(points)} points{shaded}", "dim"))
    console.print(_latest(records[-MOST_ROWS:]))


def points_of(
    days: Iterable[DaySummary], records: Iterable[MeasurementRecord], workload: str
) -> list[Point]:
    """Days by their median, then each measurement."""
    old = [
        Point(
            at_seconds=each.middle_seconds, rate=each.median, floor=each.floor, ceiling=each.ceiling
        )
        for each in days
        if each.workload == workload and each.median is not None
    ]
    return old + [
        Point(
            at_seconds=each.started_at_seconds,
            rate=each.rate,
            floor=each.floor,
            ceiling=each.ceiling,
        )
        for each in records
        if each.workload == workload and each.rate is not None
    ]


def _usual(days: Iterable[DaySummary], records: Iterable[MeasurementRecord]) -> str | None:
    counts: Counter[str] = Counter()
    for day in days:
        counts[day.workload] += day.rated
    counts.update(each.workload for each in records if each.rate is not None)
    del counts[NOT_MADE]
    usual = max(counts, key=lambda word: (counts[word], word.startswith(USUAL_READ)), default=None)
    return usual if counts.total() else None


def _latest(records: Sequence[MeasurementRecord]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("when")
    table.add_column("measured", justify="right")
    table.add_column("expected", justify="right")
    table.add_column("", overflow="fold")
    for each in reversed(records):
        short = each.pace == Pace.SHORT
        table.add_row(
            Text(minute(each.started_at_seconds)),
            Text(format_rate(each.rate) if each.rate is not None else "–"),
            Text(_band(each)),
            Text(_remark(each), "yellow" if short else ""),
        )
    return table


def _band(record: MeasurementRecord) -> str:
    if record.floor is None or record.ceiling is None:
        return ""
    if record.floor > 0.995 * record.ceiling:
        return format_rate(record.ceiling)
    return f"{format_rate(record.floor)} to {format_rate(record.ceiling)}"


def _remark(record: MeasurementRecord) -> str:
    written = "written, " if record.workload.startswith("write-") else ""
    if record.rate is None:
        return f"{written}not measured: {record.outcome}"
    why = f", {record.cause}" if record.cause else ""
    warm = (
        f", {record.temperature_celsius:.0f} °C" if record.temperature_celsius is not None else ""
    )
    return f"{written}{record.pace}{why}{warm}"
