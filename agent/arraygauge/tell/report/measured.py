"""What was measured, and what was not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from arraygauge.history import MeasurementRecord
from arraygauge.judge import Status
from arraygauge.probe.values import Route, Skipped
from arraygauge.tell.moments import minute
from arraygauge.tell.page.values import TableOfRates
from arraygauge.tell.report.inputs import DeviceTotals
from arraygauge.tell.report.machine_facts import MOST_ROWS
from arraygauge.tell.sentences import why_not
from arraygauge.units import format_rate


def measured_table(devices: Sequence[DeviceTotals]) -> TableOfRates:
    """The latest rate of each, and how far apart all of them were."""
    rest = len(devices) - MOST_ROWS
    more = f"; {rest} more are left out" if rest > 0 else ""
    return TableOfRates(
        caption=f"Latest measurement of each, reads one after another{more}",
        columns=(
            "Device",
            "When",
            "Measured, with its 95 % interval",
            "Expected",
            "Temperature",
            "Through",
            "All in this time",
        ),
        rows=tuple(_row(each) for each in devices[:MOST_ROWS]),
        empty="Nothing was measured in this time.",
    )


def _row(device: DeviceTotals) -> tuple[str, ...]:
    latest = device.latest
    if latest is None or latest.rate is None:
        return (device.name, "–", "not measured", "–", "–", "–", f"{device.made} attempts")
    heat = latest.temperature_celsius
    return (
        device.name,
        minute(latest.started_at_seconds),
        _rate(latest, latest.rate),
        _expected(latest),
        f"{heat:.0f} °C" if heat is not None else "not known",
        "an own file" if latest.workload.endswith(f"-{Route.FILE}") else "the raw device",
        _spread(device),
    )


def _rate(record: MeasurementRecord, rate: float) -> str:
    if record.low is None or record.high is None:
        return f"{format_rate(rate)}, too few places for an interval"
    return f"{format_rate(rate)} ({_number(record.low)} to {format_rate(record.high)})"


def _number(rate: float) -> str:
    return format_rate(rate).removesuffix(" MB/s")


def _expected(record: MeasurementRecord) -> str:
    if record.floor is None or record.ceiling is None:
        return "nothing to hold it to"
    if record.floor > 0.995 * record.ceiling:
        return format_rate(record.ceiling)
    return f"{_number(record.floor)} to {format_rate(record.ceiling)}"


def _spread(device: DeviceTotals) -> str:
    if device.least is None or device.most is None or device.median is None:
        return f"{device.rated} of {device.made} gave a rate"
    return (
        f"{device.rated} of {device.made} gave a rate: {_number(device.least)} to "
        f"{format_rate(device.most)}, median {_number(device.median)}"
    )


def not_measured(devices: Sequence[DeviceTotals], status: Status | None) -> Iterator[str]:
    """Why there is no rate: in the words of the pass where there are any, else in one word."""
    told = set()
    attempts = [each.attempt for each in status.arrays] if status is not None else []
    attempts += [each.attempt for each in status.devices] if status is not None else []
    for attempt in attempts:
        if isinstance(attempt, Skipped):
            told.add(attempt.device)
            yield f"{attempt.device}: {why_not(attempt)}."
    for device in devices:
        if device.refusals and device.name not in told:
            often = ", ".join(f"{why} ({count} times)" for why, count in device.refusals)
            yield f"{device.name}: some attempts gave no rate: {often}."
