"""Gaps found after the larger ones were closed."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import Level
from simulated.cases import KIB, MIB, Link, Passage, Way
from simulated.gap import (
    ONE,
    Gap,
    drives_of,
    reading,
)

_SLOW_LINK = (Link(slots=frozenset({0}), read=0.3 * ONE, write=0.3 * ONE),)

LEFT = (
    Gap(
        name="copies of unequal speed share by count",
        reason="fewest pending gives a slow copy as many chunks of a transfer as a fast one: only "
        "many transfers in flight share by speed, however long each is",
        case=replace(reading(Level.RAID10, drives_of(1, 0.25), 16, 4), layout=258),
    ),
    Gap(
        name="copies behind links of unequal speed",
        reason="a lone transfer puts as many chunks behind the slow link as before",
        case=replace(
            reading(Level.RAID10, drives_of(1, 1, 1, 1), 32, 1), layout=258, links=_SLOW_LINK
        ),
    ),
    Gap(
        name="a lone transfer on the mirror behind the link",
        reason="the one mirror that serves it passes all of it over the link, not a share",
        case=replace(
            reading(Level.RAID1, drives_of(1, 1), 1, 1),
            links=(Link(slots=frozenset({0}), read=1.1 * ONE, write=1.1 * ONE),),
            passage=Passage.WHOLE,
            streams=0,
        ),
    ),
    Gap(
        name="copies left of a degraded stripe",
        reason="fewest pending knows only the past: it takes the one copy a later chunk needs",
        case=replace(
            reading(Level.RAID10, drives_of(1, 1, 1), 1, 2), layout=513, missing=frozenset({2})
        ),
    ),
    Gap(
        name="partial stripes of several chunks",
        reason="transfers that each stand alone meet on more than their stripe's parity: N of "
        "them take the largest reads, then the largest writes, of any member",
        case=replace(reading(Level.RAID5, drives_of(*(1,) * 6), 4, 8), layout=0, way=Way.WRITE),
    ),
    Gap(
        name="windows too many to count",
        reason="where a period has more windows than are counted, each transfer in flight is "
        "taken to have a member to itself",
        case=replace(
            reading(Level.RAID5, drives_of(*(1,) * 8), 1, 3),
            layout=2,
            chunk_bytes=MIB,
            transfer_bytes=4 * KIB,
        ),
    ),
    Gap(
        name="degraded rows read once behind a wall",
        reason="of two ways to count a degraded transfer the lighter for the busiest member is "
        "not the lighter for the link: the ceiling is the higher of both",
        case=replace(
            reading(Level.RAID6, drives_of(1, 1, 1, 1), 24, 16),
            layout=8,
            missing=frozenset({0}),
            links=(Link(slots=frozenset(range(4)), read=1.3 * ONE, write=1.3 * ONE),),
            streams=0,
        ),
    ),
    Gap(
        name="copies written side by side",
        reason="a member's chunks of one transfer lie side by side and cost one operation: a piece "
        "holds as many times more as there are copies",
        case=replace(
            reading(Level.RAID10, drives_of(*(1,) * 4, operation_seconds=0.008), 4, 16),
            layout=258,
            way=Way.WRITE,
            streams=0,
        ),
    ),
    Gap(
        name="parts of neighbouring stripes written side by side",
        reason="what a transfer writes to two stripes lies side by side on a member and costs one "
        "operation",
        case=replace(
            reading(Level.RAID6, drives_of(*(1,) * 5, operation_seconds=0.008), 2, 24),
            layout=2,
            way=Way.WRITE,
            streams=0,
        ),
    ),
    Gap(
        name="arithmetic of rows that lost two blocks",
        reason="the lost blocks are computed before the parity is: two passes over the row's data",
        case=replace(
            reading(Level.RAID6, drives_of(*(1,) * 5), 1, 8),
            layout=2,
            way=Way.WRITE,
            missing=frozenset({1, 2}),
            parity_rate=ONE,
        ),
    ),
    Gap(
        name="heads that jump a long gap",
        reason="passing over a parity chunk never costs more than an operation at another place",
        case=replace(
            reading(Level.RAID5, drives_of(*(1,) * 3, operation_seconds=0.005), 1, 12),
            layout=2,
            heads=True,
            chunk_bytes=MIB,
            transfer_bytes=MIB,
        ),
    ),
    Gap(
        name="heads on near copies with many in flight",
        reason="the nearest head takes runs of chunks while transfers queue, passing over less "
        "than all copies",
        case=replace(
            reading(Level.RAID10, drives_of(*(1,) * 4, operation_seconds=0.012), 8, 8),
            layout=258,
            heads=True,
        ),
    ),
)
