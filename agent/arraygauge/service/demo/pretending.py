"""What probing the invented drives gives: measurements with places, heat and chance.

How an array reads is worked out from its members and the uplink by a rule of thumb for each
level, and not by the model that judges it.
"""

from __future__ import annotations

from functools import lru_cache
from random import Random

from arraygauge.inventory.values import Host, Level
from arraygauge.probe.centre import centre_of
from arraygauge.probe.plan import ProbePlan
from arraygauge.probe.values import LatencyQuantiles, Measurement, Outcome, PlaceRate
from arraygauge.service.demo.bays import SHELVES, UPLINK_BYTES_PER_SECOND, Shelf, bay_named
from arraygauge.service.demo.drives import Strain, as_built, rate_alone, room_celsius
from arraygauge.service.demo.machine import serial_of
from arraygauge.service.demo.story import state_of
from arraygauge.values import frozen

PLACES = 6
PLACE_SECONDS = 0.2
PLACE_STRAY = 0.008
"""By how much places of one measurement differ."""
IN_STEP = 0.985
"""Members that wait for each other at each round get so much of what they could alone."""
OF_UPLINK = 0.975
ARRAY_STRAY = 0.004


@frozen
class Pretence:
    """Probing without a device. The same ``seed`` gives the same figures on the same day."""

    seed: int

    def measure(self, host: Host, plan: ProbePlan, day: float) -> Measurement:
        """One burst of six places on a drive or an array, of which all may be read."""
        chance = Random(f"{self.seed} {plan.device} {day:.6f}")  # noqa: S311
        shelf = next((each for each in SHELVES if each.name == plan.device), None)
        if shelf is None:
            make = bay_named(plan.device).make
            rate, stray, slope = drive_rate(plan.device, day), make.stray, make.slope
        else:
            rate, stray, slope = array_rate(shelf, day), ARRAY_STRAY, _slope_of(shelf)
        rate *= 1 + chance.gauss(0, stray)
        places = _places(plan, rate, slope, chance)
        centre = centre_of(
            [(each.start_bytes / plan.size_bytes, each.bytes_per_second) for each in places],
            may_slope=plan.may_slope,
        )
        assert centre is not None
        return Measurement(
            device=plan.device,
            route=plan.route,
            path=plan.path,
            workload=plan.workload,
            outcome=Outcome.COMPLETED,
            detail=None,
            started_at_seconds=host.taken_at_seconds,
            seconds=PLACES * PLACE_SECONDS,
            bursts=1,
            bytes_read=sum(each.bytes_read for each in places),
            bytes_per_second=centre.rate,
            low_bytes_per_second=centre.low,
            high_bytes_per_second=centre.high,
            slope=centre.slope,
            latency=_latency(plan, rate),
            places=places,
            set_aside=(),
            temperature_celsius=None if shelf else float(round(celsius_of(plan.device, day))),
            slowest_link=plan.slowest_link,
        )


def celsius_of(bay: str, day: float) -> float:
    """A drive's temperature while it is read."""
    warmer = bay_named(bay).make.warmer_celsius + state_of(bay, day).warmer_celsius
    return room_celsius(day) + warmer


@lru_cache(maxsize=64)
def drive_rate(name: str, day: float) -> float:
    """Bytes per second that the drive in a bay reads by itself, chance left out."""
    bay, state = bay_named(name), state_of(name, day)
    strain = Strain(
        days=state.days,
        celsius=celsius_of(name, day),
        slower=state.slower,
        lanes=state.lanes or bay.make.lanes,
    )
    return rate_alone(bay.make, strain) * as_built(bay.make, serial_of(bay, state))


def array_rate(shelf: Shelf, day: float) -> float:
    """Bytes of data per second, of an array that is whole, chance left out: its slowest member
    sets the pace of every round, and the uplink carries no more than it does."""
    slowest = min(drive_rate(name, day) for name in shelf.bays)
    of_data = len(shelf.bays) - (1 if shelf.level is Level.RAID5 else 0)
    return min(IN_STEP * of_data * slowest, OF_UPLINK * UPLINK_BYTES_PER_SECOND)


def _slope_of(shelf: Shelf) -> float | None:
    return bay_named(shelf.bays[0]).make.slope


def _places(
    plan: ProbePlan, rate: float, slope: float | None, chance: Random
) -> tuple[PlaceRate, ...]:
    """One in each sixth of the device; on a disk faster toward its rim."""
    found = []
    for index in range(PLACES):
        where = (index + chance.random()) / PLACES
        there = rate * (1 + (slope or 0.0) * (where - 0.5)) * (1 + chance.gauss(0, PLACE_STRAY))
        found.append(
            PlaceRate(
                start_bytes=int(where * plan.size_bytes) // 4096 * 4096,
                bytes_read=round(there * PLACE_SECONDS),
                seconds=PLACE_SECONDS,
            )
        )
    return tuple(found)


def _latency(plan: ProbePlan, rate: float) -> LatencyQuantiles:
    """By Little's law, with a tail of some length."""
    middle = plan.workload.queue_depth * plan.workload.transfer_bytes / rate
    return LatencyQuantiles(
        median=middle, p90=1.25 * middle, p99=1.9 * middle, maximum=3.1 * middle
    )
