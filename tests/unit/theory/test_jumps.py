"""What going on at another place costs a stream: heads pass over a gap, or move."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import (
    ArrayModel,
    Direction,
    Expectation,
    Geometry,
    Network,
    Resource,
    ResourceKind,
    Source,
    Workload,
    expect,
)
from arraygauge.units import KIB

ONE = 1e8
CHUNK = 512 * KIB
PASSING = CHUNK / ONE
"""Seconds that one chunk takes to pass under the heads."""
READ = Workload(direction=Direction.READ, queue_depth=64)


def reading(geometry: Geometry, operation_seconds: float, link: float | None = None) -> Expectation:
    names = tuple(str(slot) for slot in range(geometry.slots))
    drives = tuple(
        None
        if slot in geometry.missing
        else _resource(name, ResourceKind.MEMBER, ONE, operation_seconds)
        for slot, name in enumerate(names)
    )
    shared = (_resource("link", ResourceKind.LINK, link, 0.0, names),) if link else ()
    network = Network(members=drives, shared=shared)
    found = expect(ArrayModel(geometry=geometry, network=network), READ)
    assert found is not None
    return found


def _resource(
    name: str, kind: ResourceKind, rate: float, operation: float, members: tuple[str, ...] = ()
) -> Resource:
    return Resource(
        name=name,
        kind=kind,
        read_bytes_per_second=rate,
        write_bytes_per_second=rate,
        full_duplex=False,
        source=Source.ASSUMED,
        members=members or (name,),
        operation_seconds=operation,
    )


def single_parity(slots: int, *, seeks: bool) -> Geometry:
    return Geometry(level=Level.RAID5, slots=slots, chunk_bytes=CHUNK, seeks=seeks)


def members_busy(band: Expectation) -> float:
    """Ceiling in drives."""
    return band.ceiling_bytes_per_second / ONE


@pytest.mark.parametrize("slots", [3, 4, 6])
def test_heads_pass_over_a_parity_chunk_that_passes_sooner_than_they_move(slots: int) -> None:
    band = reading(single_parity(slots, seeks=True), 2 * PASSING)
    assert members_busy(band) == pytest.approx(slots - 1)


@pytest.mark.parametrize("slots", [3, 4, 6])
def test_heads_move_over_a_parity_chunk_that_passes_later(slots: int) -> None:
    """Each member reads slots - 1 chunks and then moves, for half a chunk's time here."""
    band = reading(single_parity(slots, seeks=True), PASSING / 2)
    assert members_busy(band) == pytest.approx(slots * (slots - 1) / (slots - 0.5))


def test_drives_without_heads_pay_an_operation_at_each_gap() -> None:
    """However long it is: 3 chunks and then an operation of one chunk's time."""
    assert members_busy(reading(single_parity(4, seeks=False), PASSING)) == pytest.approx(3)
    assert members_busy(reading(single_parity(4, seeks=False), 0.0)) == pytest.approx(4)


def test_what_heads_pass_over_does_not_cross_the_link() -> None:
    """A link of 2.9 drives carries data alone: parity passed over would take a quarter of it."""
    band = reading(single_parity(4, seeks=True), 2 * PASSING, link=2.9 * ONE)
    assert members_busy(band) == pytest.approx(2.9)


def test_double_parity_is_passed_over_in_one_move() -> None:
    """Six members: four chunks, then P and Q, which lie side by side on a member."""
    geometry = Geometry(level=Level.RAID6, slots=6, chunk_bytes=CHUNK, seeks=True)
    assert members_busy(reading(geometry, PASSING)) == pytest.approx(6 * 4 / 5)


@pytest.mark.parametrize("lost", [frozenset[int](), frozenset({1})])
def test_offset_copies_are_passed_over_where_moves_are_not_known(lost: frozenset[int]) -> None:
    """Four members: each chunk read has its neighbour's copy beside it."""
    geometry = Geometry(
        level=Level.RAID10, slots=4, chunk_bytes=CHUNK, layout=66049, seeks=True, missing=lost
    )
    band = reading(geometry, 0.0)
    assert band.floor_bytes_per_second <= 2 * ONE * (1 + 1e-9)
