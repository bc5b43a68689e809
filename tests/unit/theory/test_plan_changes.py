"""What if: another uplink, faster drives, one more port, one more drive."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Level
from arraygauge.theory import Direction, Source, Workload
from arraygauge.theory.plan import Asked, Option, Supply, predict
from arraygauge.theory.plan_changes import (
    what_ifs,
    with_faster_drives,
    with_link,
    with_link_rate,
    with_one_more_drive,
    with_one_more_port,
)
from arraygauge.units import KIB
from unit.theory.planned_drives import DRIVE, behind_one, drives, free, link

DEEP = Asked(
    read=Workload(direction=Direction.READ, queue_depth=64),
    write=Workload(direction=Direction.WRITE, queue_depth=64),
)
STRIPES = Option(level=Level.RAID0, members=("d1", "d2", "d3", "d4"), chunk_bytes=64 * KIB)
WALLED = behind_one(4, 3 * DRIVE)


def rate(changes: str) -> float:
    [found] = [each for each in what_ifs(WALLED, STRIPES, DEEP) if each.change == changes]
    return found.prediction.read.ceiling_bytes_per_second


def test_a_wider_uplink_or_a_second_one_gives_the_drives_sum() -> None:
    assert rate("uplink twice as fast") == pytest.approx(4 * DRIVE, rel=0.01)
    assert rate("one more uplink") == pytest.approx(4 * DRIVE, rel=0.01)


def test_faster_drives_or_more_of_them_give_nothing_behind_the_wall() -> None:
    assert rate("drives twice as fast") == pytest.approx(3 * DRIVE, rel=0.01)
    assert rate("one drive more") == pytest.approx(3 * DRIVE, rel=0.01)


def test_without_a_shared_link_only_the_drives_can_be_otherwise() -> None:
    found = what_ifs(free(4), STRIPES, DEEP)
    assert [each.change for each in found] == ["drives twice as fast", "one drive more"]
    assert found[0].prediction.read.ceiling_bytes_per_second == pytest.approx(8 * DRIVE, rel=0.01)
    assert found[1].prediction.read.ceiling_bytes_per_second == pytest.approx(5 * DRIVE, rel=0.01)


def test_a_second_port_takes_half_of_the_members_and_loses_no_drive() -> None:
    supply = with_one_more_port(behind_one(8, DRIVE), "uplink", STRIPES)
    one, other = supply.links
    assert sorted((*one.members, *other.members)) == sorted(d.name for d in supply.drives)
    assert len(set(STRIPES.members) & set(one.members)) == 2
    assert len(set(STRIPES.members) & set(other.members)) == 2


def test_a_supposed_rate_says_so() -> None:
    [link] = with_link_rate(WALLED, "uplink", 7e9).links
    assert link.source is Source.ASSUMED
    assert link.read_bytes_per_second == link.write_bytes_per_second == 7e9


def test_faster_drives_take_as_long_for_each_operation() -> None:
    slow = free(2, disk=True)
    fast = with_faster_drives(slow, 2.0)
    assert fast.drives[0].rate.read_bytes_per_second == 2 * DRIVE
    assert fast.drives[0].rate.operation_seconds == slow.drives[0].rate.operation_seconds


def test_the_drive_more_has_a_name_of_its_own_and_the_members_links() -> None:
    once, name = with_one_more_drive(WALLED, STRIPES)
    twice, other = with_one_more_drive(once, STRIPES)
    assert name != other
    assert {name, other} <= set(twice.links[0].members)
    assert predict(twice, STRIPES, DEEP) == predict(WALLED, STRIPES, DEEP)


@pytest.mark.parametrize("change", [with_link, with_link_rate])
def test_a_link_that_is_not_there_cannot_be_changed(change: object) -> None:
    with pytest.raises(KeyError, match="nowhere"):
        change(WALLED, "nowhere", 2.0)  # type: ignore[operator]


def test_the_drive_more_goes_where_most_is_left() -> None:
    held = drives(3)
    supply = Supply(drives=held, links=(link("full", 100e6, held[:2]), link("free", 1e9, held[2:])))
    members = tuple(each.name for each in held)
    wider, name = with_one_more_drive(supply, Option(level=Level.RAID0, members=members))
    assert name not in wider.links[0].members


def test_links_that_hold_each_other_back_are_widened_together() -> None:
    held = drives(4)
    supply = Supply(
        drives=held, links=(link("one", 150e6, held[:2]), link("other", 150e6, held[2:]))
    )
    found = {each.change: each.prediction for each in what_ifs(supply, STRIPES, DEEP)}
    alone, together = found["one twice as fast"], found["all shared links twice as fast"]
    assert alone.read.ceiling_bytes_per_second == pytest.approx(300e6, rel=0.01)
    assert together.read.ceiling_bytes_per_second == pytest.approx(400e6, rel=0.01)
