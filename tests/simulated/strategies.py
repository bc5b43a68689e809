"""Cases drawn at random, and the parts they are made of."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from simulated.cases import KIB, Case, Drive, Gathering, Link, Passage, Variation, Way
from simulated.gap import ONE, PARITY_LEVELS

NEAR2, FAR2, OFFSET2 = 258, 513, 66049
"""raid10 layouts."""


def alike(count: int, **changes: float) -> tuple[Drive, ...]:
    return (Drive(read=ONE, write=ONE, **changes),) * count


def wall(count: int, drives: float, *, full_duplex: bool = True) -> tuple[Link, ...]:
    """A link behind all of ``count`` members that passes as much as ``drives`` of them."""
    rate = drives * ONE
    return (Link(slots=frozenset(range(count)), read=rate, write=rate, full_duplex=full_duplex),)


LAYOUTS = {
    Level.RAID5: [2, 2, 0, 1, 3, 4, 5],
    Level.RAID6: [2, 2, 0, 1, 3, 4, 5, 8, 9, 10, 16, 17, 18, 19, 20],
    Level.RAID10: [NEAR2, FAR2, OFFSET2, 259, 769],
}
FEWEST = {Level.RAID0: 2, Level.RAID1: 2, Level.RAID10: 3, Level.RAID6: 4}
SPARE = {Level.RAID1: 1, Level.RAID10: 1, Level.RAID4: 1, Level.RAID5: 1, Level.RAID6: 2}
"""How many members may be missing in these tests."""
MOST_CHUNKS = 32
"""A transfer of more chunks is more of the same and takes long to simulate."""


@st.composite
def cases(draw: st.DrawFn, /, **fixed: object) -> Case:
    """Any case of the level and workload given; ``fixed`` fields as they are."""
    level = draw(st.sampled_from([Level.RAID0, Level.RAID1, Level.RAID10, *PARITY_LEVELS]))
    count = draw(st.integers(FEWEST.get(level, 3), 8))
    chunk = draw(st.sampled_from([16, 64, 128, 512, 1024])) * KIB
    sizes = [size * KIB for size in (4, 16, 64, 128, 256, 384, 512, 1024, 2048, 4096)]
    transfer = draw(st.sampled_from([size for size in sizes if size <= MOST_CHUNKS * chunk]))
    case = Case(
        level=level,
        drives=alike(count),
        way=draw(st.sampled_from(Way)),
        transfer_bytes=transfer,
        depth=draw(st.sampled_from([1, 2, 3, 4, 8, 16, 32])),
        chunk_bytes=chunk,
        layout=draw(st.sampled_from(LAYOUTS.get(level, [0]))),
        gathering=draw(st.sampled_from([Gathering.NEVER_WAITS, Gathering.WHILE_OTHERS_READ])),
        links=draw(st.sampled_from([(), (), wall(count, 1.3), wall(count, 2.6)])),
        passage=draw(st.sampled_from(Passage)),
        seed=draw(st.integers(0, 99)),
    )
    return replace(case, **fixed)  # type: ignore[arg-type]


@st.composite
def unequal(draw: st.DrawFn) -> Case:
    case = draw(cases(links=()))
    rates = draw(
        st.lists(st.sampled_from([0.5, 1.0, 2.0]), min_size=case.width, max_size=case.width)
    )
    return replace(case, drives=tuple(Drive(read=x * ONE, write=x * ONE) for x in rates))


@st.composite
def delayed(draw: st.DrawFn) -> Case:
    case = draw(cases(links=()))
    latency = draw(st.sampled_from([1e-4, 1e-3, 5e-3]))
    return replace(case, drives=alike(case.width, latency_seconds=latency))


@st.composite
def degraded(draw: st.DrawFn, /, **fixed: object) -> Case:
    case = draw(cases(**fixed).filter(lambda case: case.level in SPARE))
    lost = draw(st.integers(1, SPARE[case.level]))
    slots = draw(st.permutations(range(case.width)))
    return replace(case, missing=frozenset(slots[:lost]))


@st.composite
def scattered(draw: st.DrawFn) -> Case:
    case = draw(cases(streams=0))
    operation = draw(st.sampled_from([0.0, 0.0, 1e-3, 8e-3]))
    variation = draw(st.sampled_from(Variation))
    return replace(
        case,
        drives=alike(case.width, operation_seconds=operation),
        variation=variation,
    )


@st.composite
def with_heads(draw: st.DrawFn) -> Case:
    """Drives that pass over what they skip, or move where that is quicker. Any load."""
    streams = draw(st.sampled_from([1, 1, 1, 0, 3]))
    case = draw(cases(streams=streams) | degraded(streams=streams))
    operation = draw(st.sampled_from([1e-3, 5e-3, 12e-3]))
    return replace(
        case,
        drives=alike(case.width, operation_seconds=operation),
        heads=True,
        depth=max(case.depth, streams),
    )


@st.composite
def several_streams(draw: st.DrawFn) -> Case:
    streams = draw(st.integers(2, 6))
    case = draw(cases(streams=streams))
    return replace(case, depth=max(case.depth, streams))
