"""What writing to own files showed, as samples."""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.inventory.values import DeviceKind
from arraygauge.judge import WriteVerdict
from arraygauge.judge.writes import judged_rate
from arraygauge.tell.metrics.values import Sample


def write_samples(verdict: WriteVerdict) -> Iterator[Sample]:
    """The latest write to one array or drive; nothing of one that gave no rate."""
    rate = judged_rate(verdict.attempt)
    if verdict.device is None or rate is None:
        return
    what = "array" if verdict.device.kind is DeviceKind.ARRAY else "device"
    labels = (verdict.device.stable_id,)
    yield Sample(name=f"{what}_write_bytes_per_second", labels=labels, number=rate)
    if verdict.ratio is not None:
        yield Sample(name=f"{what}_write_ratio", labels=labels, number=verdict.ratio)
