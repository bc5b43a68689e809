"""The drives in a table, with what probing took of them."""

from __future__ import annotations

from arraygauge.inventory.values import BlockDevice, DeviceKind
from arraygauge.tell.metrics import BudgetUse
from arraygauge.tell.page.inputs import MOST_DRIVES, Known
from arraygauge.tell.page.values import DriveRow, Drives
from arraygauge.tell.sentences import device_sentence, rate_with_uncertainty
from arraygauge.units import format_binary, format_capacity, format_duration


def drives_of(known: Known, only: frozenset[str] | None = None) -> Drives:
    """Every drive, or ``only`` those named."""
    host = known.host
    found = [
        device
        for device in (host.devices if host is not None else ())
        if device.kind is DeviceKind.DRIVE and (only is None or device.name in only)
    ]
    uses = {each.device_id: each for each in known.budget}
    rows = tuple(_row(known, each, uses.get(each.stable_id)) for each in found[:MOST_DRIVES])
    limits = known.limits
    budget = (
        f"In any hour at most {format_binary(limits.hour_bytes)} and "
        f"{format_duration(limits.hour_seconds)} of a drive's time, in any day "
        f"{format_binary(limits.day_bytes)} and {format_duration(limits.day_seconds)}."
    )
    return Drives(rows=rows, left_out=len(found) - len(rows), budget=budget)


def _row(known: Known, device: BlockDevice, use: BudgetUse | None) -> DriveRow:
    verdict = known.devices().get(device.name)
    return DriveRow(
        name=device.name,
        attached=str(device.transport),
        size=format_capacity(device.size_bytes) if device.size_bytes else "unknown",
        rate=(rate_with_uncertainty(verdict.attempt) if verdict else "") or "not measured",
        verdict=device_sentence(verdict) if verdict else "",
        spent=format_capacity(use.day_bytes) if use else "unknown",
        hour_left=min(1.0, max(0.0, use.left_ratio)) if use else None,
    )
