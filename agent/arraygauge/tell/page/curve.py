"""Rates over transfer sizes: what was measured over what theory predicts."""

from __future__ import annotations

from arraygauge.inventory.values import Array
from arraygauge.judge import expected_rates
from arraygauge.probe.values import Attempt
from arraygauge.tell.charts.curves import curve_chart
from arraygauge.tell.charts.values import CurveChart, CurvePoint
from arraygauge.tell.page.inputs import Known, Past
from arraygauge.tell.page.pictures import drawn
from arraygauge.tell.page.values import Plate, TableOfRates
from arraygauge.theory import Direction, Workload, expect_array
from arraygauge.units import KIB, MIB, format_binary, format_rate

SIZES = (16 * KIB, 64 * KIB, 256 * KIB, MIB, 4 * MIB)
USUAL_DEPTH = 8


def curve_plate(known: Known, array: Array, past: Past) -> Plate:
    """Measured are the sizes the history holds; predicted those and the usual ones."""
    measured = {each.transfer_bytes: each.bytes_per_second for each in past.curve}
    depths = {each.transfer_bytes: each.queue_depth for each in past.curve}
    predicted = {
        size: rate
        for size in sorted({*SIZES, *measured})
        if (rate := _predicted(known, array, size, depths.get(size, USUAL_DEPTH))) is not None
    }
    sizes = sorted({*measured, *predicted})
    missing = " Only the usual size was measured: 'arraygauge curve' measures and keeps the others."
    chart = CurveChart(
        title=f"{array.name} by transfer size",
        description="Measured rates beside those predicted from the members' own.",
        measured=_points(measured),
        predicted=_points(predicted),
    )
    return Plate(
        key="curve",
        heading="By transfer size",
        reading="Reads one after another, measured over predicted."
        + (missing if len(measured) == 1 else ""),
        picture=drawn(curve_chart(chart)) if sizes else None,
        table=TableOfRates(
            caption=f"Rates of {array.name} by transfer size",
            columns=("Transfer", "Measured", "Predicted"),
            rows=tuple(
                (format_binary(size), _rate(measured.get(size)), _rate(predicted.get(size)))
                for size in sizes
            ),
            empty="Not measured, and too little is known of the members to predict it.",
        ),
    )


def _predicted(known: Known, array: Array, size: int, depth: int) -> float | None:
    """Bytes per second at most; None where the latest pass does not know the members."""
    status = known.status
    verdict = known.verdict(array)
    if status is None or verdict is None:
        return None
    attempts: dict[str, Attempt] = {each.device.name: each.attempt for each in status.devices}
    attempts |= {each.array.name: each.attempt for each in status.arrays}
    rates = expected_rates(status.host, verdict.array, attempts, known.grounds)
    asked = Workload(direction=Direction.READ, transfer_bytes=size, queue_depth=depth)
    band = expect_array(status.host, verdict.array, rates, known.grounds.board, asked)
    return None if band is None else band.ceiling_bytes_per_second


def _points(rates: dict[int, float]) -> tuple[CurvePoint, ...]:
    return tuple(
        CurvePoint(transfer_bytes=size, bytes_per_second=rates[size]) for size in sorted(rates)
    )


def _rate(rate: float | None) -> str:
    return format_rate(rate) if rate is not None else "not measured"
