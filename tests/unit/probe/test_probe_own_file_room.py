"""The agent's own file on real filesystems: whole on each kind, and never where room is short."""

from __future__ import annotations

import errno
import os
import subprocess
import time
from pathlib import Path

import pytest

from arraygauge.probe.children import own_file
from arraygauge.probe.children.file_facts import lies_whole
from arraygauge.probe.children.own_file import Folder, Order, OwnFileError, obtain
from arraygauge.probe.own_file import OwnFile, prepare_own_file
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from unit.probe.real_filesystem import (
    hosted,
    mounted_filesystem,
    number_of,
    too_small_a_device,
)
from unit.probe.test_probe_own_file import MIB, NAME, prepared, refused


@pytest.mark.parametrize("kind", ["ext4", "xfs", "btrfs"])
def test_on_each_kind_of_filesystem_it_is_made_whole_and_found_again(kind: str) -> None:
    with mounted_filesystem(kind, 400) as mounted:
        stop = StopToken()
        twice = [
            prepare_own_file(Prober(stop), "sdz", [mounted], 16 * MIB, hosted(mounted, kind))
            for _ in range(2)
        ]
        stop.close()
        assert [made.filled_bytes for made in twice if isinstance(made, OwnFile)] == [16 * MIB, 0]
        with (mounted / "arraygauge-probe-16MiB.random").open("rb") as file:
            assert lies_whole(file.fileno(), 16 * MIB)


def test_preallocated_blocks_that_were_never_written_do_not_count_as_whole() -> None:
    with mounted_filesystem("ext4", 64) as mounted:
        subprocess.run(["fallocate", "-l", str(4 * MIB), mounted / NAME], check=True)
        assert (mounted / NAME).stat().st_blocks * 512 >= 4 * MIB
        with (mounted / NAME).open("rb") as file:
            assert not lies_whole(file.fileno(), 4 * MIB)
        assert prepared(mounted).filled_bytes == 4 * MIB


def test_too_little_room_is_refused_in_figures(tmp_path: Path) -> None:
    """More than any disk holds; the same check as for one byte too few."""
    detail = refused(tmp_path, 1 << 60)
    assert "1.15e+06 TB" in detail
    assert "must stay free" in detail
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("size", "free", "whole", "fits"),
    [
        (100, 300, 1000, True),
        (100, 299, 1000, False),
        (1, 51, 1000, True),
        (1, 50, 1000, False),
    ],
)
def test_a_twentieth_of_the_filesystem_and_twice_the_file_stay_free(
    monkeypatch: pytest.MonkeyPatch, size: int, free: int, whole: int, fits: bool
) -> None:
    figures = os.statvfs_result((1, 1, whole, free, free, 0, 0, 0, 0, 255))
    monkeypatch.setattr(os, "fstatvfs", lambda _: figures)
    if fits:
        own_file.check_room(-1, size, wanted=size)
        return
    with pytest.raises(OwnFileError) as lacking:
        own_file.check_room(-1, size, wanted=size)
    assert lacking.value.room is not None
    assert lacking.value.room[:2] == (size, free)


def test_twice_the_file_s_size_stays_free_on_a_real_filesystem() -> None:
    """On a real filesystem of 32 MiB with about 26 MB free: 8 MiB fit thrice, 12 MiB do not."""
    with mounted_filesystem("ext4", 32) as mounted:
        assert "must stay free" in refused(mounted, 12 * MIB)
        prepared(mounted, 6 * MIB)


def test_a_filesystem_that_fills_up_after_it_was_looked_at_is_refused_and_left_clean(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Something else takes the space after it was checked: the kernel says ENOSPC."""
    with mounted_filesystem("ext4", 32) as mounted:
        before = set(mounted.iterdir())
        monkeypatch.setattr(own_file, "check_room", lambda *_, **__: None)
        folder = Folder(os.open(mounted, os.O_RDONLY), str(mounted), number_of(mounted))
        order = Order(100 * MIB, False, time.perf_counter_ns() + 10**10, 100 * MIB)
        with pytest.raises(OwnFileError) as caught:
            obtain(folder, order, memoryview(bytearray(24)).cast("Q"))
        os.close(folder.fd)
        assert (caught.value.step, caught.value.number) == ("make", errno.ENOSPC)
        assert set(mounted.iterdir()) == before


def test_a_device_that_is_full_though_its_filesystem_is_not_is_said_so_and_left_clean() -> None:
    """As a thin volume may be: writing fails in mid-making with the kernel's ENOSPC."""
    with too_small_a_device() as mounted:
        before = set(mounted.iterdir())
        assert "it is full" in refused(mounted, 40 * MIB)
        assert set(mounted.iterdir()) == before


def test_a_read_only_mount_is_refused_even_if_inventory_did_not_know() -> None:
    with mounted_filesystem("ext4", 32) as mounted:
        subprocess.run(["mount", "-o", "remount,ro", mounted], check=True)
        assert "read-only" in refused(mounted)


def test_a_directory_that_may_not_be_written_is_refused(tmp_path: Path) -> None:
    detail = refused(Path("/proc/arraygauge-cannot-be-made-here"))
    assert errno.errorcode[errno.ENOENT] in detail or errno.errorcode[errno.EACCES] in detail


def test_a_file_in_place_of_the_directory_is_refused(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("")
    assert "not a directory" in refused(tmp_path / "state" / "arraygauge")
