"""One sequential stream with few chunks in flight: its floor.

While the window of a stream is short, which members its chunks meet decides. Taking the
stream window by window, each waiting for the last, is something the kernel is never
slower than; a window that goes round all members several times keeps each of them busy.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil, inf

from arraygauge.theory.cut import Part, Parts, windows
from arraygauge.theory.loads import MemberLoad
from arraygauge.theory.lone import contiguous_bytes, passing_seconds
from arraygauge.theory.network import Demand, Side, jump_seconds, most_jumping
from arraygauge.theory.part_writes import written_in_part
from arraygauge.theory.values import Direction, Resource

ROUNDS_IN_FLIGHT = 4
"""A window that goes round all members so many times keeps each of them busy."""


def stream_floor(side: Side, used: Sequence[Demand], alone: float) -> float:
    """Bytes per second that the window guarantees, however the members' demands fall;
    ``alone`` is the rate of one transfer at a time."""
    one_by_one = side.workload.queue_depth * alone
    chunk, geometry = side.chunk_bytes, side.geometry
    if chunk is None:
        return one_by_one
    if side.reads_before_writing:
        return written_in_part(side, used, alone)
    if not _is_short(side, chunk):
        return inf
    if geometry.parity and geometry.missing:
        return _row_by_row(side, chunk, used)
    if geometry.missing and side.reads:
        return alone  # the copies left may all be wanted of one member
    counted = _window_by_window(side, used)
    if counted is not None:
        return counted
    return alone if side.workload.transfer_bytes < chunk else one_by_one


def _is_short(side: Side, chunk: int) -> bool:
    """Whether the bytes in flight, less those that only wait, go round too few times. One
    transfer at a time is its own window, however long."""
    if side.workload.queue_depth == 1:
        return True
    slowest = min(side.rate(member) for member in side.members)
    waiting = max(member.latency_seconds for member in side.members) * slowest
    return side.window_bytes < ROUNDS_IN_FLIGHT * side.geometry.slots * (chunk + waiting)


def _row_by_row(side: Side, chunk: int, used: Sequence[Demand]) -> float:
    """A degraded window reads every row it touches, from all survivors at once."""
    width = side.geometry.slots - side.geometry.parity
    rows = ceil(side.window_bytes / (chunk * width)) + 1
    seconds = rows * chunk / min(side.rate(member) for member in side.members)
    seconds += rows * chunk * width * most_jumping(side)
    if side.workload.scattered:
        seconds += rows * max(member.operation_seconds for member in side.members)
    waiting = max(member.latency_seconds for member in side.members)
    return side.window_bytes / (seconds + waiting + passing_seconds(side, used) * side.window_bytes)


def _window_by_window(side: Side, used: Sequence[Demand]) -> float | None:
    """The stream window by window, in the real layout; None where that is not counted."""
    writing = side.workload.direction is Direction.WRITE
    alike = _are_alike(side)
    cut = windows(side.geometry, side.window_bytes, writing=writing, alike=alike)
    if cut is None:
        return None
    waiting = max(member.latency_seconds for member in side.members)
    each = waiting + passing_seconds(side, used) * side.window_bytes
    lasting = _alike_seconds if alike else _part_seconds
    seconds = sum(each + max(lasting(side, parts)) for parts in cut)
    return side.window_bytes * len(cut) / seconds


def _are_alike(side: Side) -> bool:
    """Whether it matters to no window which slot it meets first."""
    first, load = side.network.members[0], side.loads.members[0]
    return first is not None and all(
        member is not None
        and member.read_bytes_per_second == first.read_bytes_per_second
        and member.write_bytes_per_second == first.write_bytes_per_second
        and member.operation_seconds == first.operation_seconds
        and other == load
        for member, other in zip(side.network.members, side.loads.members, strict=True)
    )


def _part_seconds(side: Side, parts: Parts) -> Iterator[float]:
    """What each member's part of a window takes. Jumps over parity are where they are, others
    go by the bytes moved. Among several streams each piece is at an unrelated place."""
    for member, load, part in zip(side.network.members, side.loads.members, parts, strict=True):
        if member is not None:
            yield _seconds_of(side, member, load, part)


def _alike_seconds(side: Side, parts: Parts) -> Iterator[float]:
    """The same where whose part it is makes no difference: each kind of part once."""
    member, load = side.members[0], side.loads.members[0]
    return (_seconds_of(side, member, load, part) for part in set(parts))


def _seconds_of(side: Side, member: Resource, load: MemberLoad, part: Part) -> float:
    seconds = part.size / side.rate(member)
    jumping = jump_seconds(member, load)
    if side.workload.scattered:
        pieces = ceil(part.size / contiguous_bytes(side, at_best=False))
        seconds += pieces * member.operation_seconds
    elif jumping and load.leaps and side.geometry.parity:
        seconds += part.jumps * jumping / load.leaps
    elif jumping and load.leaps:
        seconds += part.size * jumping / (load.read + load.write)
    return seconds
