"""What an array holds and survives, and what losing a member would mean: the safety side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arraygauge.theory.capacity import Capacity, capacity
from arraygauge.theory.expect import ArrayModel
from arraygauge.theory.network import Network
from arraygauge.theory.rebuild import SpeedLimits, SyncBand, sync_band
from arraygauge.theory.redundancy import Survivable, survivable
from arraygauge.theory.risk import SpecificationBound, unreadable_sector
from arraygauge.theory.sync_loads import SyncWork, recovery
from arraygauge.values import frozen

USUAL_ERROR_RATES = (1e-14, 1e-15)
"""Unreadable bits per bit read, as drives are commonly specified (common practice)."""


@frozen
class Prospects:
    """``rebuild`` is None where nothing can be rebuilt; ``unreadable`` bounds, for each usual
    error rate, the probability of meeting an unreadable sector while rebuilding."""

    capacity: Capacity
    survivable: Survivable
    rebuild: SyncBand | None
    unreadable: tuple[SpecificationBound, ...]


def prospects(
    model: ArrayModel, member_bytes: Sequence[int], limits: SpeedLimits | None = None
) -> Prospects:
    """For an array with known members; ``member_bytes`` are the data areas, one a slot.

    The rebuilt slot is the first missing one, or slot 0 of a whole array. Others' use of
    the array during the rebuild is not known, so the band runs from none to so much that
    the kernel only keeps its minimum.
    """
    geometry = model.geometry
    size = capacity(geometry, member_bytes)
    target = min(geometry.missing, default=0)
    work = recovery(geometry, size, target)
    band = _band(model, work, target, limits) if work is not None else None
    return Prospects(
        capacity=size,
        survivable=survivable(geometry),
        rebuild=band,
        unreadable=tuple(
            unreadable_sector(work.bytes_read, rate) for rate in USUAL_ERROR_RATES if work
        ),
    )


def _band(model: ArrayModel, work: SyncWork, target: int, limits: SpeedLimits | None) -> SyncBand:
    """The new member is taken to be like the slowest of the others, on links of its own."""
    members = list(model.network.members)
    if members[target] is None:
        serving = [member for member in members if member is not None]
        like = min(serving, key=lambda member: member.write_bytes_per_second)
        members[target] = replace(like, name="new member", members=("new member",))
    network = Network(
        members=tuple(members), shared=model.network.shared, parity=model.network.parity
    )
    return sync_band(work, network, limits)
