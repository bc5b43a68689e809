"""Random and small transfers against published tables and worked numbers."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    Access,
    ArrayModel,
    Direction,
    Expectation,
    Geometry,
    MemberRate,
    Network,
    Source,
    Workload,
    expect,
)
from arraygauge.theory.expect import member_resource
from arraygauge.units import KIB

SEEK_AND_ROTATION = 10e-3
DISK = MemberRate(
    read_bytes_per_second=50e6,
    write_bytes_per_second=50e6,
    source=Source.RATED,
    operation_seconds=SEEK_AND_ROTATION,
)
"""Arpaci-Dusseau, Operating Systems: Three Easy Pieces, chapter 38: seek 7 ms, rotation 3 ms,
50 MB/s."""


def band(level: Level, slots: int, workload: Workload, rate: MemberRate = DISK) -> Expectation:
    members = tuple(member_resource(str(slot), rate) for slot in range(slots))
    geometry = Geometry(level=level, slots=slots, chunk_bytes=64 * KIB, seeks=True)
    found = expect(ArrayModel(geometry=geometry, network=Network(members=members)), workload)
    assert found is not None
    return found


def random(direction: Direction, transfer_bytes: int = 4 * KIB) -> Workload:
    return Workload(
        direction=direction,
        access=Access.RANDOM,
        transfer_bytes=transfer_bytes,
        queue_depth=512,
    )


def test_worked_random_rate_of_one_disk() -> None:
    """10 KB in 10.2 ms: about 0.98 MB/s."""
    one = band(Level.LINEAR, 1, random(Direction.READ, 10_000))
    assert one.ceiling_bytes_per_second / 1e6 == pytest.approx(0.98, abs=0.005)


def test_worked_sequential_rate_of_one_disk() -> None:
    """10 MB after one positioning in 210 ms: 47.62 MB/s."""
    one = band(Level.LINEAR, 1, random(Direction.READ, 10_000_000))
    assert one.ceiling_bytes_per_second / 1e6 == pytest.approx(47.62, abs=0.005)


Multiple = Callable[[int], float]

TEXTBOOK: dict[Level, tuple[Multiple, Multiple]] = {
    # Chapter 38, table of throughput: random reads and writes as multiples of one disk's R.
    Level.RAID0: (lambda n: n, lambda n: n),
    Level.RAID10: (lambda n: n, lambda n: n / 2),
    Level.RAID4: (lambda n: n - 1, lambda _: 1 / 2),
    Level.RAID5: (lambda n: n, lambda n: n / 4),
}


@pytest.mark.parametrize("slots", [6, 8, 10])
@pytest.mark.parametrize("level", TEXTBOOK)
def test_random_rates_of_the_textbook(level: Level, slots: int) -> None:
    alone = band(Level.LINEAR, 1, random(Direction.READ)).ceiling_bytes_per_second
    for direction, multiple in zip(Direction, TEXTBOOK[level], strict=True):
        found = band(level, slots, random(direction)).ceiling_bytes_per_second
        assert found / alone == pytest.approx(multiple(slots), rel=0.01)


def test_four_disks_cost_the_same_either_way() -> None:
    """Read-modify reads 2, reconstruct reads 2: the kernel takes the second, and a fixed
    parity disk then only writes, so raid4 is bound by its data disks: textbooks, which
    always modify, say R/2."""
    alone = band(Level.LINEAR, 1, random(Direction.READ)).ceiling_bytes_per_second
    single = band(Level.RAID5, 4, random(Direction.WRITE)).ceiling_bytes_per_second
    fixed = band(Level.RAID4, 4, random(Direction.WRITE)).ceiling_bytes_per_second
    assert single / alone == pytest.approx(4 / 4, rel=0.01)
    assert fixed / alone == pytest.approx(1, rel=0.01)


@pytest.mark.parametrize("group", [6, 8, 10])
def test_small_transfers_of_the_survey(group: int) -> None:
    """Chen et al., ACM Computing Surveys 26(2), 1994, table 3, one stripe unit a transfer,
    per disk relative to level 0: small reads 1 for all; small writes max(1/G, 1/4) for
    level 5 and max(1/G, 1/6) for level 6."""
    plain = {
        direction: band(Level.RAID0, group, random(direction, 64 * KIB)).ceiling_bytes_per_second
        for direction in Direction
    }
    for level, transfers in ((Level.RAID5, 4), (Level.RAID6, 6)):
        reads = band(level, group, random(Direction.READ, 64 * KIB)).ceiling_bytes_per_second
        writes = band(level, group, random(Direction.WRITE, 64 * KIB)).ceiling_bytes_per_second
        assert reads / plain[Direction.READ] == pytest.approx(1)
        published = max(1 / group, 1 / transfers)
        assert writes / plain[Direction.WRITE] == pytest.approx(published, rel=0.01)


def test_small_mirrored_writes_of_the_survey() -> None:
    """The same table: level 1 writes at half the rate of level 0, at any size."""
    plain = band(Level.RAID0, 8, random(Direction.WRITE)).ceiling_bytes_per_second
    mirrored = band(Level.RAID10, 8, random(Direction.WRITE)).ceiling_bytes_per_second
    assert mirrored / plain == pytest.approx(0.5)
