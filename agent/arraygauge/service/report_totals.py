"""What each array and drive was asked over some time, summed up from the history."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from statistics import median

from arraygauge.history import History, MeasurementRecord
from arraygauge.history.days import DaySummary, days_of
from arraygauge.history.measurements import KnownDevice, known_devices, measurements_of
from arraygauge.history.trend import usual_workload
from arraygauge.tell.report.inputs import DeviceTotals

MOST_REFUSALS = 4


def totals_of(
    history: History, window: tuple[float, float], fresh: Sequence[MeasurementRecord] = ()
) -> Iterator[DeviceTotals]:
    """Of every device that was tried between two moments (seconds since 1970), by name;
    ``fresh`` are attempts of a pass that is not in the history. Raises HistoryError."""
    since, until = window
    known = {each.stable_id: each for each in known_devices(history)}
    for each in fresh:
        last = KnownDevice(
            stable_id=each.stable_id, name=each.name, last_seconds=each.started_at_seconds
        )
        known[each.stable_id] = last
    for device in sorted(known.values(), key=lambda each: (each.name, each.stable_id)):
        records = [
            each
            for each in measurements_of(history, device.stable_id, since)
            if each.started_at_seconds <= until
        ]
        records += [each for each in fresh if each.stable_id == device.stable_id]
        days = [
            each
            for each in days_of(history, device.stable_id, since)
            if since <= each.middle_seconds <= until
        ]
        if records or days:
            usual = usual_workload(history, device.stable_id)
            yield _total(device, records, days, usual)


def _total(
    device: KnownDevice,
    records: Sequence[MeasurementRecord],
    days: Sequence[DaySummary],
    usual: str | None,
) -> DeviceTotals:
    """Days that are kept as one row count by what that holds."""
    reads = [each for each in records if each.rate is not None and _reads(each.workload)]
    workload = usual or (reads[-1].workload if reads else None)
    rates = [each.rate for each in reads if each.workload == workload and each.rate is not None]
    told = [each for each in days if each.workload == workload and each.median is not None]
    spread = rates + [rate for day in told for rate in (day.least, day.most) if rate is not None]
    middles = rates + [day.median for day in told if day.median is not None]
    moved = [(each.workload, each.bytes_read) for each in records]
    moved += [(each.workload, each.bytes_read) for each in days]
    refusals = Counter(each.outcome for each in records if each.rate is None)
    return DeviceTotals(
        name=device.name,
        made=len(records) + sum(each.made for each in days),
        rated=sum(each.rate is not None for each in records) + sum(each.rated for each in days),
        read_bytes=sum(size for word, size in moved if not word.startswith("write-")),
        written_bytes=sum(size for word, size in moved if word.startswith("write-")),
        least=min(spread, default=None),
        median=median(middles) if middles else None,
        most=max(spread, default=None),
        latest=next((each for each in reversed(reads) if each.workload == workload), None),
        refusals=tuple(refusals.most_common(MOST_REFUSALS)),
    )


def _reads(workload: str) -> bool:
    return workload.startswith("read-")
