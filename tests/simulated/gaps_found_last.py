"""Gaps found by a wide search while the last of those known for long were being closed: in the
model as it had been, or in a step on the way."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import Level
from simulated.cases import KIB, MIB, Gathering, Link, Passage, Variation, Way
from simulated.gap import ONE, Gap, drives_of, reading


def _behind(slots: set[int], drives: float, *, full_duplex: bool = True) -> tuple[Link, ...]:
    rate = drives * ONE
    return (Link(slots=frozenset(slots), read=rate, write=rate, full_duplex=full_duplex),)


FOUND_LAST = (
    Gap(
        name="reads and then writes over a link that carries both at once",
        reason="one transfer reads before it writes: its own way over the link takes both times",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1), 1, 2),
            way=Way.WRITE,
            chunk_bytes=512 * KIB,
            links=_behind({0, 1, 2}, 2.6),
            passage=Passage.WHOLE,
            gathering=Gathering.WHILE_OTHERS_READ,
        ),
    ),
    Gap(
        name="parts of chunks in two batches",
        reason="while four transfers within one chunk move, the next four wait for them: never "
        "more than one chunk of a row at a time",
        case=replace(
            reading(Level.RAID6, drives_of(1, 1, 1, 1, 1), 2, 8),
            layout=3,
            way=Way.WRITE,
            chunk_bytes=512 * KIB,
            missing=frozenset({1}),
            gathering=Gathering.WHILE_ANYTHING_MOVES,
        ),
    ),
    Gap(
        name="large transfers at random places, one at a time",
        reason="of six whole stripes and a part only the part reads before it writes",
        case=replace(reading(Level.RAID4, drives_of(*(1,) * 6), 32, 1), way=Way.WRITE, streams=0),
    ),
    Gap(
        name="mirrors that position, some of them behind a link",
        reason="what a mirror can take of random reads goes by its operations as well",
        case=replace(
            reading(Level.RAID1, drives_of(*(1,) * 7, operation_seconds=0.008), 16, 16),
            links=_behind({0, 1}, 0.56, full_duplex=False),
            streams=0,
            variation=Variation.EXPONENTIAL,
        ),
    ),
    Gap(
        name="a lone transfer on the copy behind the link",
        reason="the first copy serves all that is read alone, and passes all of it over its link",
        case=replace(
            reading(Level.RAID10, drives_of(*(1,) * 6), 1 / 16, 1),
            layout=258,
            links=_behind({0}, 0.3),
        ),
    ),
    Gap(
        name="streams in step that position",
        reason="three streams on one member at a time position as often as they transfer",
        case=replace(
            reading(Level.RAID6, drives_of(*(1,) * 4, operation_seconds=0.001), 1 / 16, 3),
            layout=2,
            chunk_bytes=16 * KIB,
            streams=3,
            heads=True,
        ),
    ),
    Gap(
        name="offset copies of a lost member",
        reason="what is left of a lost chunk lies beside the next one: no jump of its own",
        case=replace(
            reading(Level.RAID10, drives_of(1, 1, 1, operation_seconds=0.012), 32, 1),
            layout=66049,
            chunk_bytes=512 * KIB,
            transfer_bytes=2 * MIB,
            missing=frozenset({0}),
            heads=True,
        ),
    ),
    Gap(
        name="random transfers that straddle chunks and position",
        reason="of three quarters of a chunk every other transfer is two pieces, each an operation",
        case=replace(
            reading(Level.RAID4, drives_of(1, 1, 1, operation_seconds=0.008), 6, 8),
            chunk_bytes=512 * KIB,
            streams=0,
            variation=Variation.UNIFORM,
        ),
    ),
    Gap(
        name="drives that vary while three fill a link",
        reason="a drive that is slow for once leaves its part of the link to others that cannot "
        "use it: an operation takes the longer of its drive and its part",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1), 4, 32),
            layout=3,
            links=_behind({0, 1, 2}, 2.6),
            streams=0,
            variation=Variation.EXPONENTIAL,
        ),
    ),
    Gap(
        name="two transfers on the mirrors behind the link",
        reason="the first idle mirrors serve all that is read, and those lie behind one link",
        case=replace(
            reading(Level.RAID1, drives_of(*(1,) * 5, operation_seconds=0.008), 64, 2),
            links=_behind({0, 1}, 0.99, full_duplex=False),
            passage=Passage.WHOLE,
            streams=0,
            variation=Variation.UNIFORM,
        ),
    ),
    Gap(
        name="whole chunks of a degraded stripe in two batches",
        reason="two transfers of one chunk in flight take turns, each reading all that survives",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1, 1), 1, 2),
            layout=1,
            way=Way.WRITE,
            missing=frozenset({0}),
            gathering=Gathering.WHILE_ANYTHING_MOVES,
        ),
    ),
    Gap(
        name="rows in part that wait for whole stripes",
        reason="a lone transfer writes its whole stripes, then reads for the part, then writes it",
        case=replace(
            reading(Level.RAID4, drives_of(*(1,) * 4, latency_seconds=0.001), 2, 1),
            way=Way.WRITE,
            chunk_bytes=16 * KIB,
            gathering=Gathering.WHILE_ANYTHING_MOVES,
        ),
    ),
    Gap(
        name="far copies written by transfers that straddle chunks",
        reason="each piece of three quarters of a chunk is an operation on either half",
        case=replace(
            reading(Level.RAID10, drives_of(1, 1, 1, operation_seconds=0.012), 6, 1),
            layout=513,
            way=Way.WRITE,
            chunk_bytes=512 * KIB,
            missing=frozenset({0}),
        ),
    ),
    Gap(
        name="several chunks of a degraded stripe in two batches",
        reason="longer transfers take turns as well, each waiting until the other has read",
        case=replace(
            reading(Level.RAID4, drives_of(*(1,) * 8), 4, 2),
            way=Way.WRITE,
            missing=frozenset({7}),
            gathering=Gathering.WHILE_OTHERS_READ,
        ),
    ),
)
