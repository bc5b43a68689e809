"""/proc/mdstat is understood to the last word, and nothing in it is trusted to be there.

Formats: md_seq_show, status_resync and the levels' status functions in drivers/md.
"""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.mdstat import (
    MdstatBitmap,
    MdstatMember,
    MdstatProgress,
    parse_mdstat,
)

REBUILDING = """\
Personalities : [raid1] [raid6] [raid5] [raid4]
md1 : active raid5 sdd1[4] sdc1[2] sdb1[1](W) sda1[0]
      2929890816 blocks super 1.2 level 5, 512k chunk, algorithm 2 [4/3] [UUU_]
      [==>...........]  recovery = 12.6% (123456789/976630272) finish=101.2min speed=1400K/sec
      bitmap: 3/8 pages [12KB], 65536KB chunk, file: /var/lib/bit map

md0 : active (auto-read-only) raid1 sdf[1](F) sde[0](W)(J) sdg[2](S)(R)
      1046528 blocks [2/1] [U_]
      \tresync=PENDING

unused devices: <none>
"""


def test_a_rebuilding_raid5_in_full() -> None:
    array = parse_mdstat(REBUILDING).array("md1")
    assert array is not None
    assert (array.activity, array.access, array.level) == ("active", None, "raid5")
    assert array.members[2] == MdstatMember(name="sdb1", index=1, flags="W")
    assert array.size_bytes == 2929890816 * 1024
    assert (array.metadata, array.chunk_bytes, array.algorithm) == ("1.2", 512 * 1024, 2)
    assert (array.raid_disks, array.working_disks, array.health) == (4, 3, "UUU_")
    assert array.progress == MdstatProgress(
        action="recovery",
        done_bytes=123456789 * 1024,
        total_bytes=976630272 * 1024,
        finish_minutes=101.2,
        bytes_per_second=1400 * 1024,
    )
    assert array.bitmap == MdstatBitmap(
        used_pages=3, total_pages=8, chunk_bytes=65536 * 1024, file="/var/lib/bit map"
    )


def test_flags_access_and_a_sync_that_waits() -> None:
    array = parse_mdstat(REBUILDING).array("md0")
    assert array is not None
    assert array.access == "auto-read-only"
    assert [member.flags for member in array.members] == ["F", "WJ", "SR"]
    assert array.metadata == "0.90"  # printed as nothing
    assert (array.waiting, array.progress) == ("PENDING", None)


def test_personalities() -> None:
    assert parse_mdstat(REBUILDING).personalities == ("raid1", "raid6", "raid5", "raid4")


def test_a_broken_raid0_of_kernel_6_12_with_slashes_in_names() -> None:
    mdstat = parse_mdstat(
        "md127 : broken raid0 cciss/c0d1p1[0] sdb[1]\n"
        "      1024 blocks super external:imsm 512k chunks\n"
    )
    array = mdstat.array("md127")
    assert array is not None
    assert array.activity == "broken"
    assert array.members[0].name == "cciss!c0d1p1"  # as /sys spells it
    assert array.metadata == "external:imsm"


def test_inactive_arrays_with_and_without_members() -> None:
    """Seen on Linux 6.1: without members the superblock's word stands on the header line."""
    mdstat = parse_mdstat(
        "md2 : inactive super non-persistent\n"
        "       \n"
        "md3 : inactive sdb[1](S) sda[0](S)\n"
        "      2048 blocks super 1.2\n"
    )
    assert mdstat.not_understood == ()
    empty, spares = mdstat.arrays
    assert (empty.activity, empty.level, empty.members) == ("inactive", None, ())
    assert [member.flags for member in spares.members] == ["S", "S"]


def test_a_sync_that_runs_elsewhere_or_later() -> None:
    for line, waiting in (
        ("      \tresync=DELAYED", "DELAYED"),
        ("      \trecovery=REMOTE", "REMOTE"),
        ("      \tresync=PENDING", "PENDING"),
    ):
        array = parse_mdstat(f"md0 : active raid1 sda[0]\n{line}\n").array("md0")
        assert array is not None
        assert array.waiting == waiting


def test_what_is_not_understood_is_returned_and_the_rest_kept() -> None:
    mdstat = parse_mdstat(
        "garbage\n"
        "md0 : active raid1 sda[0] and more words\n"
        "md1 : active raid1 sdb[0]\n"
        "      a line of some future kernel\n"
    )
    assert mdstat.not_understood == ("garbage", "md0 : active raid1 sda[0] and more words")
    assert [array.name for array in mdstat.arrays] == ["md1"]


@given(st.text())
def test_any_text_gives_an_answer(text: str) -> None:
    parse_mdstat(text)


@given(
    st.lists(
        st.sampled_from([*REBUILDING.splitlines(), "", " ", "\t", "md9 : active", "md9 : "]),
        max_size=12,
    ),
    st.data(),
)
def test_any_shuffle_of_its_own_lines_gives_an_answer(
    lines: list[str], data: st.DataObject
) -> None:
    text = "\n".join(lines)
    cut = data.draw(st.integers(0, len(text)))
    parse_mdstat(text[:cut])
