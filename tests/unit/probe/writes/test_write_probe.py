"""A whole write probe on real filesystems: what it writes, where, and what it leaves behind."""

from __future__ import annotations

import fcntl
import hashlib
import os
import resource
import struct
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from arraygauge.probe.process import Lookout, OwnBytes
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.writes.probing import probe_write
from arraygauge.probe.writes.values import WriteMeasurement, WriteOutcome, WriteRequest
from unit.probe.real_filesystem import hosted, mounted_filesystem, too_small_a_device

MIB = 1 << 20
NAME = "arraygauge-probe-16MiB.random"
EXT4_SHUTDOWN = 0x8004587D
"""_IOR('X', 125, u32), fs/ext4/ext4.h; 2: without flushing the log."""


def asked(directory: Path, kind: str = "ext4", **changes: Any) -> WriteRequest:
    plain: dict[str, Any] = {
        "device": "md0",
        "directories": (directory,),
        "filesystems": hosted(directory, kind),
        "file_bytes": 16 * MIB,
        "burst_bytes": 64 * MIB,
        "max_bytes": 1024 * MIB,
        "longest_seconds": 5.0,
        "transfer_bytes": 256 * 1024,
        "queue_depth": 4,
    }
    return WriteRequest(**(plain | changes))


def probed(
    directory: Path, kind: str = "ext4", lookout: Lookout | None = None, **changes: Any
) -> WriteMeasurement:
    stop = StopToken()
    measured = probe_write(Prober(stop), asked(directory, kind, **changes), lookout)
    stop.close()
    return measured


ENDLESS: dict[str, Any] = {"burst_bytes": 1 << 40, "max_bytes": 1 << 41, "longest_seconds": 30.0}
"""More than is written before something else ends it."""


class WhenWriting:
    """A lookout that acts once, when 40 MiB are written, and never asks to give way."""

    interval_seconds = 0.01

    def __init__(self, act: Callable[[], object]) -> None:
        self._act: Callable[[], object] | None = act
        self.at_seconds = 0.0

    def look(self, own: OwnBytes) -> str | None:
        if self._act is not None and own()[1] >= 40 * MIB:
            self.at_seconds = time.monotonic()
            self._act()
            self._act = None
        return None


def checksums(directory: Path) -> dict[str, str]:
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in directory.rglob("*")
        if path.is_file() and "arraygauge-probe" not in path.name
    }


def with_neighbours(directory: Path, count: int = 20) -> dict[str, str]:
    for number in range(count):
        (directory / f"film-{number}").write_bytes(os.urandom(256 * 1024 + number))
    return checksums(directory)


@pytest.mark.parametrize("kind", ["ext4", "xfs", "btrfs"])
def test_it_measures_and_keeps_its_file_and_harms_no_other(kind: str) -> None:
    with mounted_filesystem(kind, 400) as mounted:
        before = with_neighbours(mounted)
        first, again = probed(mounted, kind), probed(mounted, kind)
        assert checksums(mounted) == before
        assert first.outcome is again.outcome is WriteOutcome.COMPLETED
        assert (first.bytes_written, first.filled_bytes) == (80 * MIB, 16 * MIB)
        assert (again.bytes_written, again.filled_bytes) == (64 * MIB, 0)
        assert first.usable
        assert first.bytes_per_second is not None
        assert first.flushed_bytes_per_second is not None
        assert first.file_kept is True
        assert first.filesystem == kind
        exempt = ["not the agent's file" in note for note in again.notes]
        assert exempt == ([True] if kind == "btrfs" else [])
        assert first.path == str(mounted / NAME)
        assert (mounted / NAME).stat().st_blocks * 512 >= 16 * MIB


def test_its_file_is_removed_where_that_is_asked_for() -> None:
    with mounted_filesystem("ext4", 200) as mounted:
        before = with_neighbours(mounted)
        measured = probed(mounted, keep_file=False)
        assert measured.outcome is WriteOutcome.COMPLETED
        assert measured.file_kept is False
        assert not (mounted / NAME).exists()
        assert checksums(mounted) == before


def test_never_more_than_the_limit_is_written_making_the_file_included() -> None:
    """By the kernel's own count for the device: the rest, under 4 MiB, is the filesystem's log."""
    with mounted_filesystem("ext4", 200) as mounted:
        sectors = sectors_written(mounted)
        measured = probed(mounted, max_bytes=40 * MIB)
        grown = 512 * (sectors_written(mounted) - sectors)
        assert measured.outcome is WriteOutcome.BUDGET_SPENT
        assert (measured.bytes_written, measured.filled_bytes) == (40 * MIB, 16 * MIB)
        assert 40 * MIB <= grown < 44 * MIB


def sectors_written(directory: Path) -> int:
    """Seventh column of the device's stat, Documentation/block/stat.rst."""
    number = directory.stat().st_dev
    stat = Path(f"/sys/dev/block/{os.major(number)}:{os.minor(number)}/stat").read_text()
    return int(stat.split()[6])


def test_a_file_that_would_take_more_than_the_limit_is_not_begun(tmp_path: Path) -> None:
    measured = probed(tmp_path, max_bytes=16 * MIB - 1)
    assert measured.outcome is WriteOutcome.BUDGET_SPENT
    assert measured.bytes_written == 0
    assert "more than may be written" in (measured.detail or "")
    assert list(tmp_path.iterdir()) == []


def test_it_stops_after_its_time_and_flushes(tmp_path: Path) -> None:
    measured = probed(tmp_path, burst_bytes=1 << 40, max_bytes=1 << 41, longest_seconds=0.2)
    assert measured.bytes_written < 1 << 36
    assert measured.flushed_bytes_per_second is not None
    assert measured.seconds < 5


@pytest.mark.parametrize("keep", [True, False])
def test_told_to_stop_it_stops_within_moments_and_leaves_what_was_asked(
    tmp_path: Path, stop: StopToken, keep: bool
) -> None:
    probed(tmp_path)
    lookout = WhenWriting(stop.set)
    measured = probe_write(Prober(stop), asked(tmp_path, keep_file=keep, **ENDLESS), lookout)
    assert time.monotonic() - lookout.at_seconds < 1.0
    assert measured.outcome is WriteOutcome.INTERRUPTED
    assert measured.detail == "md0: told to stop"
    assert measured.bytes_written >= 40 * MIB
    assert measured.file_kept is keep
    assert (tmp_path / NAME).exists() is keep


def test_it_gives_way_when_the_lookout_says_so(tmp_path: Path) -> None:
    class Busy:
        interval_seconds = 0.01

        def look(self, own: OwnBytes) -> str | None:
            begun, written = own()
            assert begun >= written
            return "others write to md0" if written > 40 * MIB else None

    measured = probed(tmp_path, lookout=Busy(), **ENDLESS)
    assert measured.outcome is WriteOutcome.GAVE_WAY
    assert measured.detail == "md0: gave way: others write to md0"
    assert not measured.usable


def test_a_filesystem_below_the_floor_is_left_alone_even_where_the_file_is_there() -> None:
    with mounted_filesystem("ext4", 100) as mounted:
        probed(mounted)
        room = os.statvfs(mounted)
        fill = room.f_bavail * room.f_frsize - 3 * MIB
        subprocess.run(["fallocate", "-l", str(fill), mounted / "films"], check=True)
        measured = probed(mounted)
        assert measured.outcome is WriteOutcome.NO_ROOM
        assert "must stay free" in (measured.detail or "")
        assert measured.bytes_written == 0


def test_a_full_device_below_is_no_room(tmp_path: Path) -> None:
    with too_small_a_device() as mounted:
        measured = probed(mounted, file_bytes=40 * MIB)
        assert measured.outcome is WriteOutcome.NO_ROOM
        assert "(ENOSPC)" in (measured.detail or "")
        assert measured.filled_bytes == measured.bytes_written


def test_a_read_only_filesystem_is_read_only() -> None:
    with mounted_filesystem("ext4", 100) as mounted:
        subprocess.run(["mount", "-o", "remount,ro", mounted], check=True)
        measured = probed(mounted)
        assert measured.outcome is WriteOutcome.READ_ONLY
        assert "read-only" in (measured.detail or "")


def test_a_filesystem_that_fails_in_mid_burst_is_a_write_error() -> None:
    """Shut down through ext4's own ioctl, as after a lost device: every write is EIO then."""
    with mounted_filesystem("ext4", 100) as mounted:
        probed(mounted)
        folder = os.open(mounted, os.O_RDONLY)
        lookout = WhenWriting(lambda: fcntl.ioctl(folder, EXT4_SHUTDOWN, struct.pack("I", 2)))
        measured = probed(mounted, lookout=lookout, **ENDLESS)
        os.close(folder)
        assert measured.outcome is WriteOutcome.WRITE_ERROR
        assert "(EIO)" in (measured.detail or "")
        assert "kernel log" in (measured.detail or "")


def test_a_limit_on_file_sizes_is_a_refusal_that_names_it(tmp_path: Path) -> None:
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8 * MIB, old[1]))
    try:
        measured = probed(tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)
    assert measured.outcome is WriteOutcome.REFUSED
    assert "RLIMIT_FSIZE" in (measured.detail or "")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_removed_by_others_meanwhile_is_not_called_kept(tmp_path: Path) -> None:
    probed(tmp_path)
    lookout = WhenWriting((tmp_path / NAME).unlink)
    measured = probed(tmp_path, lookout=lookout, **(ENDLESS | {"longest_seconds": 1.0}))
    assert measured.outcome is WriteOutcome.COMPLETED
    assert measured.file_kept is False


def test_two_runs_never_write_to_one_file_at_once(tmp_path: Path) -> None:
    probed(tmp_path)
    with (tmp_path / NAME).open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        measured = probed(tmp_path)
    assert measured.outcome is WriteOutcome.REFUSED
    assert "another run is writing" in (measured.detail or "")


def test_a_directory_on_another_device_is_refused_and_not_written_to(tmp_path: Path) -> None:
    measured = probed(tmp_path, filesystems=hosted(Path("/proc")))
    assert measured.outcome is WriteOutcome.REFUSED
    assert "write_probe.directories" in (measured.detail or "")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"transfer_bytes": 512},
        {"transfer_bytes": 0},
        {"transfer_bytes": 32 * MIB},
        {"queue_depth": 0},
        {"longest_seconds": 0.0},
        {"max_bytes": -1},
    ],
)
def test_a_request_that_makes_no_sense_is_an_error(tmp_path: Path, changes: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="a write probe needs"):
        probed(tmp_path, **changes)
