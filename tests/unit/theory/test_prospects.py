"""What losing a member would mean."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import ArrayModel, Geometry, MemberRate, Network, Source
from arraygauge.theory.expect import member_resource
from arraygauge.theory.prospects import prospects
from arraygauge.units import KIB

TB = 10**12


def model(
    level: Level, slots: int, rate: float, missing: frozenset[int] = frozenset()
) -> ArrayModel:
    each = MemberRate(read_bytes_per_second=rate, write_bytes_per_second=rate, source=Source.RATED)
    members = tuple(
        None if slot in missing else member_resource(f"sd{slot}", each) for slot in range(slots)
    )
    geometry = Geometry(level=level, slots=slots, chunk_bytes=512 * KIB, missing=missing)
    return ArrayModel(geometry=geometry, network=Network(members=members))


def test_four_terabytes_take_hours_at_the_kernels_ceiling_however_fast_the_drives() -> None:
    """At 200000 KiB/s a 4 TB member takes about 5.4 h (kernel default, arithmetic)."""
    found = prospects(model(Level.RAID5, 4, 3e9), (4 * TB,) * 4)
    assert found.rebuild is not None
    assert found.rebuild.fastest.seconds / 3600 == pytest.approx(5.4, abs=0.05)


def test_sixteen_terabytes_take_half_a_year_at_the_kernels_floor() -> None:
    """At 1000 KiB/s about 181 days (kernel default, arithmetic)."""
    found = prospects(model(Level.RAID5, 4, 2e8), (16 * TB,) * 4)
    assert found.rebuild is not None
    assert found.rebuild.slowest.seconds / 86400 == pytest.approx(181, abs=1)


def test_a_rebuild_of_three_terabyte_survivors_reads_them_all() -> None:
    """Two survivors of 3 TB: 6 TB at 1e-14 a bit, 1 - (1 - p) ** bits = 0.381 (arithmetic)."""
    found = prospects(model(Level.RAID5, 3, 2e8, frozenset({1})), (3 * TB,) * 3)
    bound = found.unreadable[0]
    assert bound.errors_per_bit == 1e-14
    assert bound.bytes_read == pytest.approx(6 * TB, rel=1e-6)
    assert bound.probability == pytest.approx(0.381217, abs=1e-4)


def test_a_stripe_has_nothing_to_rebuild_from() -> None:
    found = prospects(model(Level.RAID0, 4, 2e8), (TB,) * 4)
    assert found.rebuild is None
    assert found.unreadable == ()
    assert found.survivable.guaranteed == 0
