"""What the metrics say of the probing budget."""

from __future__ import annotations

from pathlib import Path

from arraygauge.inventory.values import Level
from arraygauge.probe.budget import BudgetLimits, Charge
from arraygauge.service.budget_uses import budget_uses
from arraygauge.service.purse import open_purse
from invented import array, drive, host, member

LIMITS = BudgetLimits(hour_bytes=1000, hour_seconds=60.0, day_bytes=10_000, day_seconds=300.0)


def test_of_every_drive_what_it_was_charged_and_the_scarcer_of_bytes_and_seconds(
    tmp_path: Path,
) -> None:
    drives = [drive("sda"), drive("sdb")]
    machine = host([array(Level.RAID1, [member("sda", 0), member("sdb", 1)])], drives)
    with open_purse(tmp_path, LIMITS, "a-boot") as purse:
        charge = Charge(device_id="invented-sda", read_bytes=100, busy_seconds=45.0)
        token = purse.ledger.reserve([charge])
        assert token is not None
        purse.ledger.settle(token, [charge])
        first, second = budget_uses(purse, machine)
    assert (first.device_id, first.day_bytes, first.left_ratio) == ("invented-sda", 100, 0.25)
    assert (second.device_id, second.day_bytes, second.left_ratio) == ("invented-sdb", 0, 1.0)
