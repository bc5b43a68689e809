"""A curve is kept, so that the page has every size of it, and not only for who asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from arraygauge.history import open_history
from arraygauge.history.trend import SizedRate, sized_rates, usual_workload
from arraygauge.inventory.values import Level
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.service.curve import Curve, CurvePoint, curve_workloads, keep_curve
from arraygauge.theory import Access, Workload
from arraygauge.units import KIB, MIB
from invented import array, measured, member

MD0 = array(Level.RAID0, [member("sda", 0), member("sdb", 1)])
RATE_BY_SIZE = {16 * KIB: 90e6, 64 * KIB: 150e6, 256 * KIB: 180e6, MIB: 195e6, 4 * MIB: 200e6}


def point(workload: Workload) -> CurvePoint:
    attempt: Attempt = replace(
        measured("md0", RATE_BY_SIZE[workload.transfer_bytes]), workload=workload
    )
    if workload.transfer_bytes == 64 * KIB:
        attempt = Skipped(device="md0", reason=SkipReason.BUDGET_SPENT, detail="")
    return CurvePoint(workload=workload, attempt=attempt, expectation=None, own_limit=False)


def test_every_size_that_was_measured_is_there_for_the_page(tmp_path: Path) -> None:
    points = tuple(map(point, curve_workloads(Access.SEQUENTIAL, 512)))
    curve = Curve(body=MD0, name="md0", access=Access.SEQUENTIAL, alone={}, points=points)
    with open_history(tmp_path / "history.sqlite") as history:
        assert keep_curve(curve, history, 1_700_000_000.0)
        found = sized_rates(history, MD0.stable_id)
        usual = usual_workload(history, MD0.stable_id)
    assert usual == "read-sequential-1048576-8", "the one that is drawn over time"
    assert {each.transfer_bytes: each.bytes_per_second for each in found} == {
        size: rate for size, rate in RATE_BY_SIZE.items() if size != 64 * KIB
    }
    assert all(isinstance(each, SizedRate) for each in found)
