"""One practitioner's figures for SATA SSDs behind a chipset uplink.

Common practice, no published source; single runs, so peaks. Drives of 530 MB/s read
and 520 MB/s write; an uplink of 4 lanes at 5 GT/s of which other users leave 12 to
14 Gb/s (1.5 to 1.75 GB/s). From these single-drive rates and one wall for each
direction the model must explain every figure.
"""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level, LinkKind, LinkRate
from arraygauge.theory import (
    ArrayModel,
    Direction,
    Expectation,
    Geometry,
    MemberRate,
    Network,
    Resource,
    ResourceKind,
    Source,
    Workload,
    expect,
)
from arraygauge.theory.expect import member_resource
from arraygauge.theory.links import payload_bytes_per_second

DRIVE = MemberRate(read_bytes_per_second=530e6, write_bytes_per_second=520e6, source=Source.RATED)
READ_WALL, WRITE_WALL = 1640e6, 1225e6
"""What the widest stripes reached: 1640 read; 1205 and 1245 written, their mean."""


def band(
    level: Level, drives: int, direction: Direction, transfer_bytes: int = 4096
) -> Expectation:
    names = tuple(str(slot) for slot in range(drives))
    uplink = Resource(
        name="uplink",
        kind=ResourceKind.LINK,
        read_bytes_per_second=READ_WALL,
        write_bytes_per_second=WRITE_WALL,
        full_duplex=True,
        source=Source.MEASURED,
        members=names,
    )
    network = Network(members=tuple(member_resource(n, DRIVE) for n in names), shared=(uplink,))
    geometry = Geometry(level=level, slots=drives, chunk_bytes=64 * 1024)
    workload = Workload(direction=direction, transfer_bytes=transfer_bytes, queue_depth=1024)
    expectation = expect(ArrayModel(geometry=geometry, network=network), workload)
    assert expectation is not None
    return expectation


def test_the_wall_lies_within_what_the_uplinks_other_users_leave() -> None:
    lanes = LinkRate(bits_per_second_per_lane=5_000_000_000, lanes=4)
    whole = payload_bytes_per_second(LinkKind.PCIE, lanes)
    assert whole == pytest.approx(2e9)
    assert 12e9 / 8 <= READ_WALL <= 14e9 / 8


@pytest.mark.parametrize(
    ("level", "drives", "direction", "megabytes"),
    [
        (Level.RAID0, 2, Direction.READ, 1100),
        (Level.RAID0, 3, Direction.READ, 1600),
        (Level.RAID0, 4, Direction.READ, 1640),
        (Level.RAID0, 5, Direction.READ, 1640),
        (Level.RAID0, 2, Direction.WRITE, 965),
        (Level.RAID0, 3, Direction.WRITE, 1170),
        (Level.RAID0, 4, Direction.WRITE, 1205),
        (Level.RAID0, 5, Direction.WRITE, 1245),
        (Level.RAID10, 4, Direction.READ, 1640),
        (Level.RAID10, 4, Direction.WRITE, 625),
        (Level.RAID5, 3, Direction.READ, 1510),
        (Level.RAID5, 4, Direction.READ, 1582),
        (Level.RAID5, 5, Direction.READ, 1582),
    ],
)
def test_reads_and_stripe_or_mirror_writes_within_ten_per_cent(
    level: Level, drives: int, direction: Direction, megabytes: float
) -> None:
    expectation = band(level, drives, direction)
    assert expectation.ceiling_bytes_per_second / 1e6 == pytest.approx(megabytes, rel=0.10)


@pytest.mark.parametrize(("drives", "megabytes"), [(3, 565), (4, 710), (5, 690)])
def test_parity_writes_lie_inside_the_band(drives: int, megabytes: float) -> None:
    expectation = band(Level.RAID5, drives, Direction.WRITE)
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    assert floor / 1e6 <= megabytes <= ceiling / 1e6


@pytest.mark.parametrize(
    ("level", "direction", "figures"),
    [
        (Level.RAID0, Direction.READ, {2: 1100, 3: 1600, 4: 1640, 5: 1640}),
        (Level.RAID0, Direction.WRITE, {2: 965, 3: 1170, 4: 1205, 5: 1245}),
        (Level.RAID5, Direction.READ, {3: 1510, 4: 1582, 5: 1582}),
    ],
)
def test_the_uplink_is_named_exactly_where_another_drive_no_longer_helps(
    level: Level, direction: Direction, figures: dict[int, float]
) -> None:
    """'No longer helps': less than 5 % more, the error of single runs."""
    for drives, figure in figures.items():
        if drives + 1 not in figures:
            continue
        helped = figures[drives + 1] > 1.05 * figure
        named = band(level, drives, direction).bottleneck.name == "uplink"
        assert named is not helped, f"{level} of {drives}"


def test_six_drives_in_single_parity_and_whether_an_even_count_is_special() -> None:
    """The open question. With rows written whole, six drives give 5/6 of the write wall:
    more than five drives' 4/5, less than seven's 6/7, smoothly; evenness plays no part.
    What matters is whether the data members are a power of two: only then does a
    transfer of a power of two fill whole rows by itself."""

    def ceiling(drives: int) -> float:
        return band(Level.RAID5, drives, Direction.WRITE).ceiling_bytes_per_second

    assert ceiling(6) == pytest.approx(WRITE_WALL * 5 / 6)
    assert ceiling(5) < ceiling(6) < ceiling(7)

    def alone(drives: int) -> float:
        """Floor, every 1 MiB transfer by itself, as a share of the ceiling."""
        expectation = band(Level.RAID5, drives, Direction.WRITE, 2**20)
        return expectation.floor_bytes_per_second / expectation.ceiling_bytes_per_second

    assert alone(5) == alone(9) == pytest.approx(1)
    assert all(alone(drives) < 0.99 for drives in (4, 6, 7, 8, 10))
