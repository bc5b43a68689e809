"""/proc/self/mountinfo, as proc(5) describes it."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.mountinfo import MountTable, parse_mount

PROC_5 = "36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue"
"""The manual page's own example."""


def test_the_manual_page_s_example() -> None:
    mount = parse_mount(PROC_5)
    assert mount.device_number == (98, 0)
    assert (mount.root, mount.mount_point) == ("/mnt1", "/mnt2")
    assert (mount.filesystem, mount.source) == ("ext3", "/dev/root")
    assert mount.options == ("rw", "noatime", "errors=continue")
    assert not mount.read_only


def test_blanks_and_backslashes_in_names() -> None:
    mount = parse_mount(r"36 35 98:0 / /srv/day\040two\011\134x rw - ext4 /dev/sda1 rw")
    assert mount.mount_point == "/srv/day two\t\\x"


def test_read_only_by_the_mount_or_by_the_filesystem() -> None:
    assert parse_mount("1 2 8:1 / /a ro - ext4 /dev/sda1 rw").read_only
    assert parse_mount("1 2 8:1 / /a rw - ext4 /dev/sda1 ro").read_only


def test_optional_fields_may_be_none_or_many() -> None:
    assert parse_mount("1 2 8:1 / /a rw - ext4 /dev/sda1 rw").source == "/dev/sda1"
    many = parse_mount("1 2 8:1 / /a rw shared:1 master:2 - ext4 /dev/sda1 rw")
    assert many.source == "/dev/sda1"


def test_a_btrfs_mount_is_found_by_its_source() -> None:
    """btrfs gives its mounts a device number of major 0 that belongs to no device."""
    table = MountTable([parse_mount("1 2 0:44 / /a rw - btrfs /dev/sdb rw")])
    assert [mount.mount_point for mount in table.on((8, 16), ["/dev/sdb"])] == ["/a"]
    assert table.on((8, 0), ["/dev/sda"]) == ()


def test_a_source_s_name_does_not_count_where_the_number_does() -> None:
    """A name may be reused; the number of a real filesystem is its device's."""
    table = MountTable([parse_mount("1 2 8:32 / /a rw - ext4 /dev/sdb rw")])
    assert table.on((8, 16), ["/dev/sdb"]) == ()
    assert len(table.on((8, 32), ["/dev/sdc"])) == 1


@pytest.mark.parametrize("line", ["", "1 2 8:1 / /a rw", "1 2 x / /a rw - ext4 /dev/sda1 rw"])
def test_a_line_that_is_none_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="not a"):
        parse_mount(line)


@given(st.text())
def test_any_text_is_parsed_or_refused(text: str) -> None:
    with suppress(ValueError):
        parse_mount(text)


@given(st.integers(0, len(PROC_5)), st.text(max_size=3))
def test_any_damage_to_a_line_is_parsed_or_refused(at: int, junk: str) -> None:
    with suppress(ValueError):
        parse_mount(PROC_5[:at] + junk + PROC_5[at + 1 :])
