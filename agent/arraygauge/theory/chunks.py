"""Chunk advice: for a workload, which chunk sizes keep all members busy, and what the others cost.

One chunk is on one member. A stream keeps all n members busy while the transfers in
flight cover n chunks: queue depth times transfer size >= n * chunk. Random transfers
want the opposite: a transfer that spans chunks occupies several members, each with an
operation of its own. For parity, rows fill whole only where transfers cover stripes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from arraygauge.theory.expect import ArrayModel, expect
from arraygauge.theory.values import Expectation, Workload
from arraygauge.units import KIB, MIB
from arraygauge.values import frozen

USUAL_CHUNKS = tuple(KIB << step for step in range(4, 11))
"""16 KiB to 1 MiB."""


@frozen
class ChunkChoice:
    """One chunk size. ``members_busy`` counts members with work at once, at most.

    ``least_transfer_bytes`` is the transfer size from which all of them have work at the
    workload's depth. ``cost_share`` is what the floor loses against the best chunk's, 0 to 1.
    """

    chunk_bytes: int
    members_busy: int
    least_transfer_bytes: int
    expectation: Expectation
    cost_share: float


def chunk_choices(
    model: ArrayModel, workload: Workload, chunks: Sequence[int] = USUAL_CHUNKS
) -> tuple[ChunkChoice, ...]:
    """Every chunk size in turn; empty where the model has no expectation."""
    bands = {
        chunk: expect(replace(model, geometry=replace(model.geometry, chunk_bytes=chunk)), workload)
        for chunk in chunks
    }
    known = {chunk: band for chunk, band in bands.items() if band is not None}
    best = max((band.floor_bytes_per_second for band in known.values()), default=0.0)
    width = len(model.geometry.serving)
    return tuple(
        ChunkChoice(
            chunk_bytes=chunk,
            members_busy=members_busy(width, chunk, workload),
            least_transfer_bytes=least_transfer_bytes(width, chunk, workload.queue_depth),
            expectation=band,
            cost_share=1 - band.floor_bytes_per_second / best,
        )
        for chunk, band in known.items()
    )


def members_busy(width: int, chunk_bytes: int, workload: Workload) -> int:
    """Members that can have work at once: the chunks that all transfers in flight touch."""
    touched = max(1, ceil(workload.transfer_bytes / chunk_bytes)) * workload.queue_depth
    if workload.scattered:
        return min(width, touched)
    in_flight = workload.transfer_bytes * workload.queue_depth
    return min(width, max(1, ceil(in_flight / chunk_bytes)))


def least_transfer_bytes(width: int, chunk_bytes: int, queue_depth: int) -> int:
    """The transfer size from which one stream at that depth has work for all members."""
    return ceil(width * chunk_bytes / queue_depth)


def recommended(choices: Sequence[ChunkChoice]) -> ChunkChoice | None:
    """The largest chunk within 2 % of the best floor: fewer, longer operations a member,
    and never beyond 512 KiB unless smaller ones lose (common practice, no published source)."""
    good = [choice for choice in choices if choice.cost_share <= 0.02]
    usual = [choice for choice in good if choice.chunk_bytes <= MIB // 2]
    return max(usual or good, key=lambda choice: choice.chunk_bytes, default=None)
