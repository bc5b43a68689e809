"""One transfer with nothing else in flight: how long it takes, at least and at most.

By Little's law a workload cannot go faster than the transfers in flight over the mean
time a lone one takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from arraygauge.inventory.values import Level
from arraygauge.theory.cut import windows
from arraygauge.theory.geometry import Copies
from arraygauge.theory.network import Demand, Side
from arraygauge.theory.values import Access, Direction, ResourceKind


def contiguous_bytes(side: Side, *, at_best: bool) -> float:
    """How much of one transfer lies in one piece on a member. Parity and copies lie between
    the chunks of a member, so at worst each chunk is a piece of its own there."""
    chunk, size, geometry = side.chunk_bytes, side.workload.transfer_bytes, side.geometry
    if chunk is None or size <= chunk:
        return size
    if not at_best and (geometry.parity or geometry.level is Level.RAID10):
        return chunk
    if at_best and geometry.parity and side.writes:
        return size  # parts of neighbouring stripes lie side by side
    copies = Copies.from_layout(geometry.layout).total if geometry.level is Level.RAID10 else 1
    return copies * max(chunk, size / (geometry.slots - geometry.parity))


def least_lone_seconds(side: Side) -> float:
    """What a lone transfer takes at the very least: its largest part on the fastest member,
    for the reads and then for the writes, if it has both."""
    part, members = _mean_largest_part(side), side.members
    fixed = min(member.latency_seconds for member in members)
    if side.workload.access is Access.RANDOM:
        fixed += min(member.operation_seconds for member in members)
    seconds = 0.0
    if side.reads:
        seconds += fixed + part / max(member.read_bytes_per_second for member in members)
    if side.writes:
        seconds += fixed + part / max(member.write_bytes_per_second for member in members)
    return seconds or 1e-12


def _mean_largest_part(side: Side) -> float:
    """Bytes on the member that has most of one transfer, the mean over where it may begin.

    For copies the least that any choice among them allows.
    """
    chunk, size, geometry = side.chunk_bytes, side.workload.transfer_bytes, side.geometry
    if chunk is None:
        return size
    if geometry.level is Level.RAID10 and side.workload.direction is Direction.READ:
        return min(size, chunk) * ceil(max(1, size // chunk) / len(geometry.serving))
    cut = windows(geometry, size, writing=False)
    if cut is None:
        return size / geometry.slots
    return sum(max(parts) for parts in cut) / len(cut)


def longest_lone_seconds(side: Side, used: Sequence[Demand]) -> float:
    """What a lone transfer takes at the very most: its largest part on the slowest member,
    links and arithmetic passed one after the other."""
    part, members = _most_on_one(side), side.members
    fixed = max(member.latency_seconds for member in members)
    if side.workload.scattered:
        fixed += max(member.operation_seconds for member in members)
    seconds = _passing_whole(side, used) * side.workload.transfer_bytes
    if side.reads:
        seconds += fixed + part / min(member.read_bytes_per_second for member in members)
    if side.writes:
        seconds += fixed + part / min(member.write_bytes_per_second for member in members)
    return seconds or 1e-12


def _passing_whole(side: Side, used: Sequence[Demand]) -> float:
    """A read of a mirror may pass the slowest link of any of them with all its bytes."""
    if side.geometry.level is not Level.RAID1 or side.writes:
        return passing_seconds(used)
    links = [demand.resource for demand in used if demand.resource.kind is ResourceKind.LINK]
    return max((1 / link.read_bytes_per_second for link in links), default=0.0)


def _most_on_one(side: Side) -> float:
    """Bytes of one transfer on one member, wherever it begins."""
    chunk, size, geometry = side.chunk_bytes, side.workload.transfer_bytes, side.geometry
    if chunk is None:
        return size
    pieces = ceil(size / chunk) + (1 if size % chunk else 0)
    width = max(1, len(geometry.serving) - geometry.parity)
    return min(size, chunk * ceil(pieces / width))


def passing_seconds(used: Sequence[Demand]) -> float:
    """Seconds a byte spends on everything but members, one after the other."""
    return sum(demand.seconds for demand in used if demand.resource.kind is not ResourceKind.MEMBER)
