"""Where random places, several streams, zones and heads ran outside the band."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import Level
from simulated.cases import MIB, Drive, Gathering, Link, Variation, Way
from simulated.gap import (
    ONE,
    Gap,
    drives_of,
    reading,
)

OTHER_LOADS = (
    Gap(
        name="drives that position while others fill the link",
        reason="drives that position together also move their bytes together, each at its share "
        "of the link: a member's demand at the floor is at that share",
        case=replace(
            reading(Level.RAID5, drives_of(*(1,) * 5, operation_seconds=0.001), 1, 32),
            layout=2,
            links=(Link(slots=frozenset(range(5)), read=2.6 * ONE, write=2.6 * ONE),),
            streams=0,
        ),
    ),
    Gap(
        name="degraded random reads of many chunks",
        reason="a transfer that covers a row reads each of its blocks once, the lost one included",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1, 1), 3, 4),
            layout=2,
            missing=frozenset({0}),
            streams=0,
        ),
    ),
    Gap(
        name="degraded whole stripes at random places",
        reason="the cost alone ignores the transfer: a whole stripe reads nothing, degraded too",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1, 1), 3, 4),
            layout=2,
            missing=frozenset({0}),
            streams=0,
            way=Way.WRITE,
        ),
    ),
    Gap(
        name="degraded small writes at random places",
        reason="all reads of a degraded row fall on the survivors; spreading them over the roles "
        "loses those of the missing member",
        case=replace(
            reading(Level.RAID5, drives_of(1, 1, 1, 1), 1 / 16, 32),
            layout=2,
            missing=frozenset({1}),
            streams=0,
            way=Way.WRITE,
        ),
    ),
    Gap(
        name="random reads of unequal mirrors",
        reason="one transfer in flight goes to the first idle mirror, which may be the slowest",
        case=replace(reading(Level.RAID1, drives_of(0.5, 1), 1, 1), streams=0),
    ),
    Gap(
        name="partial rows that wait for each other",
        reason="raid5d lets one batch of partial rows read at a time, so half of the transfers "
        "wait while the others read (raid5_activate_delayed)",
        case=replace(
            reading(Level.RAID5, drives_of(*(1,) * 7), 1, 32),
            layout=2,
            streams=0,
            way=Way.WRITE,
            gathering=Gathering.WHILE_OTHERS_READ,
        ),
    ),
    Gap(
        name="drives of varying speed slowed by a link",
        reason="a drive that waits for the link cannot serve its next operation meanwhile: "
        "drive and link are not two queues in a row",
        case=replace(
            reading(Level.RAID10, drives_of(1, 1, 1), 16, 16),
            layout=66049,
            links=(Link(slots=frozenset({0, 1, 2}), read=2.6 * ONE, write=2.6 * ONE),),
            streams=0,
            variation=Variation.EXPONENTIAL,
        ),
    ),
    Gap(
        name="mirrors of which one is behind a slow link",
        reason="the load of mirrors is shared by their own rates, not by what their links leave",
        case=replace(
            reading(Level.RAID1, drives_of(1, 1), 1, 8),
            links=(Link(slots=frozenset({1}), read=0.3 * ONE, write=0.3 * ONE),),
            streams=0,
        ),
    ),
    Gap(
        name="streams that seek only between each other",
        reason="a stream that has a mirror to itself never seeks: with several streams the "
        "ceiling cannot charge every operation",
        case=replace(
            reading(Level.RAID1, drives_of(1, 1, operation_seconds=0.008), 1, 8), streams=2
        ),
    ),
    Gap(
        name="operations of a large transfer with parity",
        reason="the parity chunk in each round splits a member's data: a piece holds at most the "
        "rows between two parity chunks",
        case=replace(
            reading(Level.RAID5, drives_of(*(1,) * 4, operation_seconds=0.008), 24, 16),
            layout=2,
            streams=0,
        ),
    ),
    Gap(
        name="zones of members of unequal speed",
        reason="with a slow small member the narrow zone is the fast one: the ceiling is the "
        "best zone's, the floor the worst's",
        case=replace(
            reading(Level.RAID0, drives_of(0.25, 1, 1), 1, 8),
            sizes=(100 * MIB, 200 * MIB, 200 * MIB),
            start_bytes=304 * MIB,
        ),
    ),
    Gap(
        name="heads over an odd number of near copies",
        reason="heads pass over the copies they do not read, so five members read as two and a "
        "half whichever copies are chosen",
        case=replace(
            reading(Level.RAID10, drives_of(*(1,) * 5, operation_seconds=0.012), 4, 8),
            layout=258,
            heads=True,
        ),
    ),
    Gap(
        name="heads over offset copies",
        reason="heads pass over the offset copies between the chunks they read",
        case=replace(
            reading(Level.RAID10, drives_of(*(1,) * 4, operation_seconds=0.012), 4, 8),
            layout=66049,
            heads=True,
        ),
    ),
    Gap(
        name="unequal latencies",
        reason="the floor takes the shortest latency of any member instead of the longest",
        case=reading(Level.RAID0, (Drive(), Drive(latency_seconds=0.01)), 1, 1),
    ),
)
