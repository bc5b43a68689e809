"""Where one sequential stream ran outside the band."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import Level
from simulated.cases import Link, Passage, Way
from simulated.gap import (
    ONE,
    Gap,
    drives_of,
    reading,
)

ONE_STREAM = (
    Gap(
        name="small transfers of a stream",
        reason="transfers smaller than a chunk meet on one member: with V = (N - 1) T bytes = "
        "q chunks + f ahead, min((q + 1) c / (c - f), q + 2) members are busy, not N",
        case=reading(Level.RAID0, drives_of(1, 1, 1, 1), 1 / 16, 16),
    ),
    Gap(
        name="window over turns that repeat a member",
        reason="right-symmetric parity of four meets 1 2 3 2 3 0: four chunks in flight do not "
        "keep four members busy",
        case=replace(reading(Level.RAID5, drives_of(1, 1, 1, 1), 1, 4), layout=3),
    ),
    Gap(
        name="largest part of a lone transfer with parity",
        reason="four chunks over the two data members of a double parity of four put two on one "
        "member: the largest part goes by data members, not by slots",
        case=replace(reading(Level.RAID6, drives_of(1, 1, 1, 1), 4, 1), layout=2),
    ),
    Gap(
        name="large transfers that do not end with a round",
        reason="two transfers of four chunks over seven members overlap on one of them while "
        "others wait for the window",
        case=reading(Level.RAID0, drives_of(*(1,) * 7), 4, 2),
    ),
    Gap(
        name="transfers that straddle chunks",
        reason="a transfer of three quarters of a chunk crosses a boundary every other time, and "
        "then two members share it: a lone one is faster than its length tells",
        case=reading(Level.RAID0, drives_of(1, 1, 1, 1), 0.75, 1),
    ),
    Gap(
        name="copies written by few transfers",
        reason="four chunks of two copies over six members put two on some member: the largest "
        "part counts copies",
        case=replace(reading(Level.RAID10, drives_of(*(1,) * 6), 4, 1), layout=258, way=Way.WRITE),
    ),
    Gap(
        name="far copies written chunk by chunk",
        reason="neighbouring chunks share a member, so six in flight do not keep eight busy",
        case=replace(reading(Level.RAID10, drives_of(*(1,) * 8), 1, 6), layout=513, way=Way.WRITE),
    ),
    Gap(
        name="partial stripes of one stream",
        reason="neighbouring transfers by themselves share the parity of their stripe: N of them "
        "take as long as the largest reads and then the largest writes of any member",
        case=replace(reading(Level.RAID5, drives_of(*(1,) * 8), 1, 4), layout=2, way=Way.WRITE),
    ),
    Gap(
        name="degraded stream with few transfers",
        reason="reading a lost chunk brings the rest of its rows into the stripe cache: depth "
        "times a lone transfer is no ceiling",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1, 1), 1, 1), layout=2, missing=frozenset({0})
        ),
    ),
    Gap(
        name="degraded copies with few transfers",
        reason="two chunks in flight both need the one member left of their copies",
        case=replace(
            reading(Level.RAID10, drives_of(1, 1, 1), 1, 3), layout=258, missing=frozenset({2})
        ),
    ),
    Gap(
        name="double parity over a single-parity layout",
        reason="layouts 16 to 20 turn over all slots but the last: a period is slots - 1 rows",
        case=replace(reading(Level.RAID6, drives_of(1, 1, 1, 1), 4, 16), layout=18),
    ),
    Gap(
        name="a lone transfer passes its link after its drive",
        reason="a link that is passed whole adds its own time to a lone transfer",
        case=replace(
            reading(Level.RAID1, drives_of(1, 1), 1, 1),
            links=(Link(slots=frozenset({0, 1}), read=1.5 * ONE, write=1.5 * ONE),),
            passage=Passage.WHOLE,
        ),
    ),
    Gap(
        name="fair shares of a link slow the fuller members",
        reason="eight chunks over six members behind a wall of five: members with two chunks are "
        "slowed while those with one still run",
        case=replace(
            reading(Level.RAID0, drives_of(*(1,) * 6), 8, 1),
            links=(Link(slots=frozenset(range(6)), read=5 * ONE, write=5 * ONE),),
        ),
    ),
    Gap(
        name="parity arithmetic in a lone transfer",
        reason="a lost block is computed after it was read: that time belongs to a lone transfer",
        case=replace(
            reading(Level.RAID6, drives_of(*(1,) * 6), 4, 1),
            layout=2,
            missing=frozenset({1}),
            parity_rate=3 * ONE,
        ),
    ),
)
