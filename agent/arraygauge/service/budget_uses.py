"""What probing has taken of each device, for the metrics."""

from __future__ import annotations

from arraygauge.history import HistoryError
from arraygauge.inventory.values import DeviceKind, Host
from arraygauge.probe.budget import DAY_SECONDS, allowance
from arraygauge.service.purse import Purse
from arraygauge.tell.metrics import BudgetUse


def budget_uses(purse: Purse, host: Host) -> tuple[BudgetUse, ...]:
    """Of every drive and member; of none where the history cannot be read."""
    members = {member.name for array in host.arrays for member in array.members}
    try:
        return tuple(
            _use(purse, device.stable_id)
            for device in host.devices
            if device.kind is DeviceKind.DRIVE or device.name in members
        )
    except HistoryError:
        return ()


def _use(purse: Purse, device_id: str) -> BudgetUse:
    limits = purse.limits
    spent = purse.ledger.spent_since(device_id, DAY_SECONDS)
    left = allowance(limits, spent, purse.clock_seconds())
    return BudgetUse(
        device_id=device_id,
        day_bytes=sum(each.moved_bytes for each in spent),
        left_ratio=min(
            left.bytes_left / limits.hour_bytes, left.seconds_left / limits.hour_seconds
        ),
    )
