"""One sequential stream with few chunks in flight: its floor.

While the window of a stream is short, which members its chunks meet decides. Taking the
stream window by window, each waiting for the last, is something the kernel is never
slower than; a window that goes round all members several times keeps each of them busy.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, inf

from arraygauge.theory.cut import windows
from arraygauge.theory.lone import passing_seconds
from arraygauge.theory.network import Demand, Side
from arraygauge.theory.values import Direction

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
        return one_by_one / _sharing_a_stripe(side, chunk)
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


def _sharing_a_stripe(side: Side, chunk: int) -> int:
    """Transfers that may write parts of one stripe, whose parity they must take in turns."""
    stripe = chunk * (side.geometry.slots - side.geometry.parity)
    overlapping = 1 if side.workload.transfer_bytes % stripe else 0
    return ceil(stripe / side.workload.transfer_bytes) + overlapping


def _row_by_row(side: Side, chunk: int, used: Sequence[Demand]) -> float:
    """A degraded window reads every row it touches, from all survivors at once."""
    rows = ceil(side.window_bytes / (chunk * (side.geometry.slots - side.geometry.parity))) + 1
    seconds = rows * chunk / min(side.rate(member) for member in side.members)
    waiting = max(member.latency_seconds for member in side.members)
    return side.window_bytes / (seconds + waiting + passing_seconds(used) * side.window_bytes)


def _window_by_window(side: Side, used: Sequence[Demand]) -> float | None:
    """The stream window by window, in the real layout; None where that is not counted."""
    writing = side.workload.direction is Direction.WRITE
    cut = windows(side.geometry, side.window_bytes, writing=writing)
    if cut is None:
        return None
    rates = [side.rate(member) if member else inf for member in side.network.members]
    waiting = max(member.latency_seconds for member in side.members)
    each = waiting + passing_seconds(used) * side.window_bytes
    seconds = sum(
        each + max(part / rate for part, rate in zip(parts, rates, strict=True)) for parts in cut
    )
    return side.window_bytes * len(cut) / seconds
