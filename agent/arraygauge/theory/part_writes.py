"""The floor of one stream of writes that fill no whole stripes, window by window."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from arraygauge.theory.network import Demand, Side, moved_behind, service_demand
from arraygauge.theory.rows_in_part import Phase, WindowWork, windows_in_part
from arraygauge.theory.values import ResourceKind


def written_in_part(side: Side, used: Sequence[Demand], alone: float) -> float:
    """Bytes per second from the worst place to begin at. Transfers within a chunk also do no
    worse than taking turns at their stripe's parity, unless they then position as well;
    ``alone`` is the rate of one of them."""
    asked = side.workload
    works = windows_in_part(
        side.geometry, asked.transfer_bytes, asked.offset_bytes, asked.queue_depth
    )
    together = side.window_bytes / max(_window_seconds(side, used, work) for work in works)
    chunk = side.chunk_bytes or 0
    positioning = any(member.operation_seconds for member in side.members)
    if asked.transfer_bytes > chunk or positioning:
        return together
    stripe = chunk * (side.geometry.slots - side.geometry.parity)
    overlapping = 1 if stripe % asked.transfer_bytes else 0
    turns = ceil(stripe / asked.transfer_bytes) + overlapping
    return max(together, asked.queue_depth * alone / turns)


def _window_seconds(side: Side, used: Sequence[Demand], work: WindowWork) -> float:
    """All reads of a window, then all its writes."""
    members = side.members
    slowest = (
        min(member.read_bytes_per_second for member in members),
        min(member.write_bytes_per_second for member in members),
    )
    batches = max(1.0, work.rounds / 2)
    waiting = work.rounds * max(member.latency_seconds for member in members)
    passing = _passing(side, used)
    return waiting + sum(
        _phase_seconds(side, phase, rate, shared * side.window_bytes, batches)
        for phase, rate, shared in zip((work.reads, work.writes), slowest, passing, strict=True)
    )


def _phase_seconds(side: Side, phase: Phase, rate: float, passing: float, batches: float) -> float:
    """Either the members' time and then that of what they all pass; or the longer of the two
    and besides, what members have more than the mean while others are done, or one piece of
    each member that is still on its way."""
    operation = max(member.operation_seconds for member in side.members)
    moving = phase.most_bytes / rate + phase.operations * operation
    if not passing:
        return moving
    more = (phase.most_bytes - phase.mean_bytes) / rate
    piece = _piece_bytes(side)
    share = passing / (phase.mean_bytes * len(side.members)) if phase.mean_bytes else 0.0
    last = batches * (operation + piece / rate + len(side.members) * piece * share)
    return min(moving + passing, max(moving + last, passing + max(more, last)))


def _piece_bytes(side: Side) -> float:
    """What a member moves at once: rows that waited together go together, and so do the whole
    stripes of one transfer."""
    size, width = side.workload.transfer_bytes, side.geometry.slots - side.geometry.parity
    return max(min(side.chunk_bytes or size, side.window_bytes), size / width)


def _passing(side: Side, used: Sequence[Demand]) -> tuple[float, float]:
    """Seconds a byte spends in what members share: before writing, and then."""
    reading = writing = 0.0
    carried = {
        member.name: load
        for member, load in zip(side.network.members, side.loads.members, strict=True)
        if member is not None
    }
    for demand in used:
        if demand.resource.kind is ResourceKind.PARITY:
            writing += demand.passing
        elif demand.resource.kind is not ResourceKind.MEMBER:
            read, write = moved_behind(demand.resource, carried)
            reading += service_demand(demand.resource, read, 0.0)
            writing += service_demand(demand.resource, 0.0, write)
    return reading, writing
