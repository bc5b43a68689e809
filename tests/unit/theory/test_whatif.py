"""What would raise an expectation."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    Access,
    ArrayModel,
    Direction,
    Geometry,
    MemberRate,
    Network,
    Resource,
    ResourceKind,
    Source,
    Workload,
)
from arraygauge.theory.chunks import chunk_choices, members_busy, recommended
from arraygauge.theory.expect import member_resource
from arraygauge.theory.whatif import derive
from arraygauge.units import KIB, MIB

DRIVE = 100e6
READ = Workload(direction=Direction.READ, queue_depth=16)


def model(
    level: Level, slots: int, wall: float | None = None, chunk: int = 64 * KIB, latency: float = 0.0
) -> ArrayModel:
    rate = MemberRate(
        read_bytes_per_second=DRIVE,
        write_bytes_per_second=DRIVE,
        source=Source.RATED,
        latency_seconds=latency,
    )
    names = tuple(f"sd{slot}" for slot in range(slots))
    uplink = Resource(
        name="uplink",
        kind=ResourceKind.LINK,
        read_bytes_per_second=wall or 1.0,
        write_bytes_per_second=wall or 1.0,
        full_duplex=True,
        source=Source.DECLARED,
        members=names,
    )
    return ArrayModel(
        geometry=Geometry(level=level, slots=slots, chunk_bytes=chunk),
        network=Network(
            members=tuple(member_resource(name, rate) for name in names),
            shared=(uplink,) if wall else (),
        ),
    )


def test_relieving_the_uplink_gives_the_members_sum_and_a_member_more_gives_nothing() -> None:
    found = derive(model(Level.RAID0, 4, wall=3 * DRIVE), READ)
    assert found is not None
    assert found.relieved is not None
    assert found.widened is not None
    assert found.relieved.ceiling_bytes_per_second == pytest.approx(4 * DRIVE)
    assert found.widened.ceiling_bytes_per_second == pytest.approx(3 * DRIVE)


def test_without_a_wall_a_member_more_helps() -> None:
    found = derive(model(Level.RAID5, 4), READ)
    assert found is not None
    assert found.widened is not None
    assert found.widened.ceiling_bytes_per_second == pytest.approx(5 * DRIVE)


def test_a_shallow_queue_is_told_from_a_slow_resource_with_the_depth_it_needs() -> None:
    """64 KiB with 1 ms of latency takes 1.655 ms alone: 40 MB/s each; 400 MB/s need 11."""
    shallow = Workload(direction=Direction.READ, transfer_bytes=64 * KIB, queue_depth=2)
    found = derive(model(Level.RAID0, 4, latency=1e-3), shallow)
    assert found is not None
    assert found.expectation.depth_bound
    assert found.depth_needed == 11


@pytest.mark.parametrize(
    ("chunk", "transfer", "depth", "busy"),
    [
        (512 * KIB, 64 * KIB, 1, 1),
        (512 * KIB, MIB, 1, 2),
        (512 * KIB, MIB, 2, 4),
        (64 * KIB, MIB, 1, 4),
    ],
)
def test_members_busy_counts_the_chunks_in_flight(
    chunk: int, transfer: int, depth: int, busy: int
) -> None:
    workload = Workload(direction=Direction.READ, transfer_bytes=transfer, queue_depth=depth)
    assert members_busy(4, chunk, workload) == busy


def test_one_transfer_at_a_time_wants_a_chunk_that_spreads_it() -> None:
    """1 MiB at a time over four members: chunks to 256 KiB keep all four busy."""
    single = Workload(direction=Direction.READ, transfer_bytes=MIB, queue_depth=1)
    choices = chunk_choices(model(Level.RAID0, 4), single)
    by_size = {choice.chunk_bytes: choice for choice in choices}
    assert by_size[256 * KIB].cost_share == pytest.approx(0)
    assert by_size[512 * KIB].cost_share == pytest.approx(0.5)
    best = recommended(choices)
    assert best is not None
    assert best.chunk_bytes == 256 * KIB


@pytest.mark.parametrize("access", Access)
@pytest.mark.parametrize("streams", [1, 2])
@pytest.mark.parametrize("direction", Direction)
@pytest.mark.parametrize("level", [level for level in Level if level is not Level.UNKNOWN])
@pytest.mark.parametrize("wall", [None, 250e6])
def test_every_level_has_a_derivation_and_no_nonsense_in_it(
    level: Level, direction: Direction, streams: int, access: Access, wall: float | None
) -> None:
    workload = Workload(direction=direction, access=access, queue_depth=16, streams=streams)
    found = derive(model(level, 4, wall=wall), workload)
    assert found is not None
    now = found.expectation.ceiling_bytes_per_second
    relieved, widened = found.relieved, found.widened
    assert relieved is None or now * 0.999 <= relieved.ceiling_bytes_per_second < 100 * now
    # Another mirror behind a wall makes writes slower: each crosses it once more.
    assert widened is None or 0.5 * now < widened.ceiling_bytes_per_second < 100 * now
