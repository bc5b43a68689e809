"""Who is held against whom: roles from md's own words, paths from the links."""

from __future__ import annotations

from arraygauge.inventory.values import Level, Link, LinkKind, MemberState
from arraygauge.judge.passive import peers_of
from arraygauge.theory import Uplink
from invented import FAILED, array, drive, host, member

NAMES = ("sdb", "sdc", "sdd", "sde")


def members(*names: str) -> list[object]:
    return [member(name, slot) for slot, name in enumerate(names)]


def link(link_id: str) -> Link:
    return Link(
        link_id=link_id,
        kind=LinkKind.SAS,
        name=link_id,
        negotiated=None,
        maximum=None,
        parent_id=None,
    )


def groups(level: Level, *held: object, **changes: object) -> list[tuple[str, ...]]:
    made = array(level, held, **changes)  # type: ignore[arg-type]
    return [group.members for group in peers_of(host([made]), made)]


def test_the_members_of_a_stripe_are_peers() -> None:
    assert groups(Level.RAID0, *members(*NAMES)) == [NAMES]


def test_write_mostly_members_are_a_group_of_their_own() -> None:
    slow = member("sdd", 2, states=(MemberState.IN_SYNC, MemberState.WRITE_MOSTLY))
    assert groups(Level.RAID1, *members("sdb", "sdc"), slow) == [("sdb", "sdc"), ("sdd",)]


def test_failed_spare_and_journal_members_are_not_watched_as_peers() -> None:
    spare = member("sdd", None, states=(MemberState.SPARE,))
    journal = member("sde", 9, states=(MemberState.JOURNAL,))
    failed = member("sdf", **FAILED)
    found = groups(Level.RAID5, *members("sdb", "sdc"), spare, journal, failed)
    assert found == [("sdb", "sdc")]


def test_a_member_being_filled_is_not_held_against_those_it_is_filled_from() -> None:
    filled = member("sdd", 2, states=(MemberState.SPARE,))
    assert groups(Level.RAID5, *members("sdb", "sdc"), filled) == [("sdb", "sdc"), ("sdd",)]


def test_parity_in_a_fixed_place_is_another_role() -> None:
    """drivers/md/raid5.h: raid4 keeps parity on the last slot, raid5 layouts 4 and 5 on the
    first and the last, raid6 layouts 16 to 20 keep Q on the last."""
    assert groups(Level.RAID4, *members(*NAMES)) == [NAMES[:3], NAMES[3:]]
    assert groups(Level.RAID5, *members(*NAMES), layout=4) == [NAMES[:1], NAMES[1:]]
    assert groups(Level.RAID6, *members(*NAMES), layout=18) == [NAMES[:3], NAMES[3:]]
    assert groups(Level.RAID6, *members(*NAMES), layout=2) == [NAMES]


def test_a_link_that_some_members_pass_is_a_path_and_one_that_all_pass_is_common() -> None:
    drives = [
        drive(name, link_ids=(f"port-{name}", "expander", "root") if slot < 2 else ("root",))
        for slot, name in enumerate(NAMES)
    ]
    made = array(Level.RAID0, members(*NAMES))  # type: ignore[arg-type]
    [group] = peers_of(host([made], drives, [link("expander"), link("root")]), made)
    assert group.paths == (("expander", frozenset({"sdb", "sdc"})),)
    assert group.common == "root"
    assert group.siblings("sdb") == {"sdc"}
    assert group.siblings("sde") == frozenset()


def test_a_declared_uplink_is_a_path() -> None:
    made = array(Level.RAID0, members(*NAMES))  # type: ignore[arg-type]
    chipset = Uplink(
        name="chipset", devices=("sd[bcd]",), read_bytes_per_second=1e9, write_bytes_per_second=1e9
    )
    [group] = peers_of(host([made]), made, (chipset,))
    assert group.paths == (("chipset", frozenset({"sdb", "sdc", "sdd"})),)


def test_mirrors_are_not_taken_to_share_load_evenly() -> None:
    made = array(Level.RAID10, members(*NAMES))  # type: ignore[arg-type]
    [group] = peers_of(host([made]), made)
    assert not group.even
    assert not group.heads
