"""One transfer with nothing else in flight: how long it takes, at least and at most.

By Little's law a workload cannot go faster than the transfers in flight over the mean
time a lone one takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, gcd

from arraygauge.inventory.values import Level
from arraygauge.theory.cut import mean_largest_part
from arraygauge.theory.geometry import Copies, placements
from arraygauge.theory.network import Demand, Side, jump_seconds
from arraygauge.theory.rows_in_part import mean_on_busiest
from arraygauge.theory.values import Access, Direction, ResourceKind


def contiguous_bytes(side: Side, *, at_best: bool) -> float:
    """How much of one transfer lies in one piece on a member."""
    chunk, size = side.chunk_bytes, side.workload.transfer_bytes
    if chunk is None:
        return size
    return _contiguous_at_best(side, chunk) if at_best else _contiguous_at_worst(side, chunk)


def _contiguous_at_best(side: Side, chunk: int) -> float:
    size, geometry = side.workload.transfer_bytes, side.geometry
    if size <= chunk or (geometry.parity and side.writes):
        return size  # parts of neighbouring stripes lie side by side
    copies = Copies.from_layout(geometry.layout).total if geometry.level is Level.RAID10 else 1
    return copies * max(chunk, size / (geometry.slots - geometry.parity))


def _contiguous_at_worst(side: Side, chunk: int) -> float:
    """Parity and copies lie between the chunks of a member, so that each is a piece of its own
    there; rows of a stripe that differ in what is written of them go apart."""
    size, geometry = side.workload.transfer_bytes, side.geometry
    common = gcd(size, chunk)
    if geometry.parity and side.writes and size > chunk:
        return common
    pieces = (size + chunk - common) / chunk  # the mean over where it may begin
    if geometry.parity or geometry.level is Level.RAID10:
        return size / pieces
    return size / min(pieces, geometry.slots)


def least_lone_seconds(side: Side) -> float:
    """What a lone transfer takes at the very least: its largest part on the fastest member,
    for the reads and then for the writes, if it has both."""
    part, members = _mean_largest_part(side), side.members
    fixed = min(member.latency_seconds for member in members)
    if side.workload.access is Access.RANDOM:
        fixed += min(member.operation_seconds for member in members)
    if side.reads and side.writes and side.workload.transfer_bytes > (side.chunk_bytes or 0):
        return fixed + _mean_on_busiest(side, part)
    seconds = 0.0
    if side.reads:
        seconds += fixed + part / max(member.read_bytes_per_second for member in members)
    if side.writes:
        seconds += fixed + part / max(member.write_bytes_per_second for member in members)
    return seconds or 1e-12


def _mean_on_busiest(side: Side, part: float) -> float:
    """Seconds of the member that moves most for a transfer of several chunks. Some of its rows
    are written while others still read."""
    rates = [member.read_bytes_per_second for member in side.members]
    rates += [member.write_bytes_per_second for member in side.members]
    asked = side.workload
    moved = mean_on_busiest(side.geometry, asked.transfer_bytes, asked.offset_bytes)
    return max(part, moved) / max(rates)


def _mean_largest_part(side: Side) -> float:
    """Bytes on the member that has most of one transfer, the mean over where it may begin.

    For copies the least that any choice among them allows.
    """
    chunk, size, geometry = side.chunk_bytes, side.workload.transfer_bytes, side.geometry
    if chunk is None:
        return size
    if geometry.level is Level.RAID10 and side.workload.direction is Direction.READ:
        return min(size, chunk) * ceil(max(1, size // chunk) / len(geometry.serving))
    return mean_largest_part(geometry, size) or size / geometry.slots


def longest_lone_seconds(side: Side, used: Sequence[Demand]) -> float:
    """What a lone transfer takes at the very most: its largest part on the slowest member,
    links and arithmetic passed one after the other."""
    part, members = _most_on_one(side), side.members
    fixed = max(member.latency_seconds for member in members)
    fixed += _jumps_of_stream(side, part)
    if side.workload.scattered:
        fixed += max(member.operation_seconds for member in members)
    seconds = passing_seconds(side, used) * side.workload.transfer_bytes
    if side.reads:
        seconds += fixed + part / min(member.read_bytes_per_second for member in members)
    if side.writes:
        seconds += fixed + part / min(member.write_bytes_per_second for member in members)
    return seconds or 1e-12


def _jumps_of_stream(side: Side, part: float) -> float:
    """What going on elsewhere costs for each chunk of the largest part, at most."""
    if side.workload.access is Access.RANDOM or not any(load.leaps for load in side.loads.members):
        return 0.0
    each = max(
        jump_seconds(member, load) / load.leaps
        for member, load in zip(side.network.members, side.loads.members, strict=True)
        if member is not None and load.leaps
    )
    return ceil(part / (side.chunk_bytes or part)) * each


def _most_on_one(side: Side) -> float:
    """Bytes of one transfer on one member, wherever it begins."""
    chunk, size, geometry = side.chunk_bytes, side.workload.transfer_bytes, side.geometry
    if chunk is None:
        return size
    pieces = ceil(size / chunk) + (1 if size % chunk else 0)
    width = max(1, len(geometry.serving) - geometry.parity)
    if geometry.level is Level.RAID10 and geometry.seeks is not False and side.reads:
        pieces *= Copies.from_layout(geometry.layout).near  # heads pass over all of them
    return min(size, chunk * ceil(pieces / width))


def passing_seconds(side: Side, used: Sequence[Demand]) -> float:
    """Seconds a byte spends on everything but members, one after the other."""
    passed = sum(
        demand.passing for demand in used if demand.resource.kind is not ResourceKind.MEMBER
    )
    copied = side.geometry.level in (Level.RAID1, Level.RAID10) and not side.writes
    return _before_copies(side) if passed and copied else passed


def _before_copies(side: Side) -> float:
    """Each chunk read may be read behind the slowest links that any of its copies has."""
    geometry, members = side.geometry, side.network.members
    links = [
        sum(
            1 / link.read_bytes_per_second
            for link in side.network.shared
            if member is not None and member.name in link.members
        )
        for member in members
    ]
    chunks = placements(geometry.level, geometry.slots, geometry.layout)
    return sum(max(links[slot] for slot in chunk) for chunk in chunks) / len(chunks)
