"""The agent's own file: made whole or not at all, reused only when it is surely ours."""

from __future__ import annotations

import errno
import fcntl
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from arraygauge.probe.filesystems import why_unfit
from arraygauge.probe.own_file import OwnFile, Refusal, prepare_own_file, why_no_room
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Outcome
from unit.probe.loop_device import why_no_loop_devices
from unit.probe.probe_requests import request

MIB = 1 << 20
NAME = "arraygauge-probe-4MiB.random"
PARTIAL = f".{NAME}.partial"


def prepared(directory: Path, size_bytes: int = 4 * MIB) -> OwnFile:
    made = prepare_own_file(directory, size_bytes, "ext4", False)
    assert isinstance(made, OwnFile), made
    return made


def refused(directory: Path, size_bytes: int = 4 * MIB, stop: StopToken | None = None) -> str:
    refusal = prepare_own_file(directory, size_bytes, "ext4", False, stop)
    assert isinstance(refusal, Refusal)
    assert str(directory) in refusal.detail
    return refusal.detail


def test_the_file_is_ours_alone_and_as_large_as_asked(tmp_path: Path) -> None:
    own = prepared(tmp_path)
    found = own.path.lstat()
    assert own.path.parent == tmp_path
    assert own.size_bytes == found.st_size == 4 * MIB
    assert found.st_mode & 0o7777 == 0o600
    assert found.st_uid == os.geteuid()


def test_its_every_block_is_written(tmp_path: Path) -> None:
    """Holes are read without touching the device, and constant data may be."""
    own = prepared(tmp_path)
    assert own.path.stat().st_blocks * 512 >= 4 * MIB
    content = own.path.read_bytes()
    assert len({content[at : at + 4096] for at in range(0, 4 * MIB, 4096)}) == 1024


def test_sizes_are_rounded_up_to_whole_mebibytes(tmp_path: Path) -> None:
    assert prepared(tmp_path, 3 * MIB + 1).size_bytes == 4 * MIB


def test_a_probe_of_it_finds_no_zeros(tmp_path: Path, prober: Prober) -> None:
    own = prepared(tmp_path)
    measured = prober.run(request(own.path, extents=((0, own.size_bytes),)))
    assert measured.outcome is Outcome.COMPLETED
    assert measured.bytes_read == 4 * MIB
    assert measured.zero_bytes == 0


def test_it_is_reused_and_not_written_again(tmp_path: Path) -> None:
    before = prepared(tmp_path).path.stat()
    after = prepared(tmp_path).path.stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_other_sizes_have_files_of_their_own(tmp_path: Path) -> None:
    assert prepared(tmp_path, 4 * MIB).path != prepared(tmp_path, 5 * MIB).path


@pytest.mark.parametrize("size", [0, 4 * MIB - 1, 5 * MIB])
def test_one_of_the_wrong_size_is_made_again(tmp_path: Path, size: int) -> None:
    (tmp_path / NAME).write_bytes(os.urandom(size))
    assert prepared(tmp_path).path.stat().st_size == 4 * MIB


def test_one_with_holes_is_made_again(tmp_path: Path) -> None:
    (tmp_path / NAME).touch()
    os.truncate(tmp_path / NAME, 4 * MIB)
    assert prepared(tmp_path).path.stat().st_blocks * 512 >= 4 * MIB


def test_a_missing_directory_is_made(tmp_path: Path) -> None:
    own = prepared(tmp_path / "state" / "arraygauge")
    assert own.path.exists()
    assert own.path.parent.stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize("name", [NAME, PARTIAL])
def test_a_symbolic_link_in_its_place_is_refused_and_its_target_untouched(
    tmp_path: Path, name: str
) -> None:
    victim = tmp_path / "victim"
    victim.write_bytes(b"precious")
    (tmp_path / name).symlink_to(victim)
    assert "remove it" in refused(tmp_path)
    assert victim.read_bytes() == b"precious"
    assert (tmp_path / name).is_symlink()


@pytest.mark.parametrize("name", [NAME, PARTIAL])
def test_a_pipe_or_directory_in_its_place_is_refused_and_left(tmp_path: Path, name: str) -> None:
    os.mkfifo(tmp_path / name)
    assert "not a regular file" in refused(tmp_path)
    (tmp_path / name).unlink()
    (tmp_path / name).mkdir()
    assert "not a regular file" in refused(tmp_path)
    assert (tmp_path / name).is_dir()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give files to another user")
@pytest.mark.parametrize("name", [NAME, PARTIAL])
def test_another_user_s_file_in_its_place_is_refused_and_left(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"theirs")
    os.chown(tmp_path / name, 65534, 65534)
    assert "belongs to user 65534" in refused(tmp_path)
    assert (tmp_path / name).read_bytes() == b"theirs"


def test_what_a_killed_run_left_is_removed_and_made_again(tmp_path: Path) -> None:
    (tmp_path / PARTIAL).write_bytes(b"half")
    prepared(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_one_that_another_run_is_writing_is_left_to_it(tmp_path: Path) -> None:
    with (tmp_path / PARTIAL).open("wb") as writing:
        fcntl.flock(writing, fcntl.LOCK_EX)
        assert "another run is writing" in refused(tmp_path)
    assert (tmp_path / PARTIAL).exists()


def test_told_to_stop_it_leaves_nothing(tmp_path: Path, stop: StopToken) -> None:
    stop.set()
    assert "told to stop" in refused(tmp_path, stop=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_writer_that_is_killed_leaves_no_file_under_the_name(tmp_path: Path) -> None:
    """At eight moments; whatever is there under the name is whole, and the next run clears up."""
    program = (
        "import sys; from pathlib import Path;"
        "from arraygauge.probe.own_file import prepare_own_file;"
        "print('ready', flush=True);"
        f"prepare_own_file(Path({str(tmp_path)!r}), {32 * MIB}, 'ext4', False)"
    )
    name = tmp_path / "arraygauge-probe-32MiB.random"
    for moment in range(8):
        with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(0.02 * moment)
            writer.send_signal(signal.SIGKILL)
        if name.exists():
            assert name.stat().st_size == 32 * MIB
            name.unlink()
    prepared(tmp_path, 32 * MIB)
    assert [path.name for path in tmp_path.iterdir()] == [name.name]


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
    size: int, free: int, whole: int, fits: bool
) -> None:
    assert (why_no_room(size, free, whole) is None) == fits


def test_twice_the_file_s_size_stays_free_on_a_real_filesystem(tmp_path: Path) -> None:
    """On a real filesystem of 32 MB with about 24 MB free: 8 MiB fit thrice, 12 MiB do not."""
    with small_filesystem(tmp_path) as mounted:
        assert "must stay free" in refused(mounted, 12 * MIB)
        prepared(mounted, 6 * MIB)


def test_a_filesystem_that_fills_up_in_mid_writing_is_refused_and_left_clean(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Something else takes the space after it was checked: the kernel says ENOSPC."""
    with small_filesystem(tmp_path) as mounted:
        before = set(mounted.iterdir())
        monkeypatch.setattr("arraygauge.probe.own_file._check_room", lambda *_: None)
        assert "it is full" in refused(mounted, 100 * MIB)
        assert set(mounted.iterdir()) == before


def test_a_read_only_mount_is_refused_even_if_inventory_did_not_know(tmp_path: Path) -> None:
    with small_filesystem(tmp_path) as mounted:
        subprocess.run(["mount", "-o", "remount,ro", mounted], check=True)
        assert "read-only" in refused(mounted)


def test_a_directory_that_may_not_be_written_is_refused(tmp_path: Path) -> None:
    detail = refused(Path("/proc/arraygauge-cannot-be-made-here"))
    assert errno.errorcode[errno.ENOENT] in detail or errno.errorcode[errno.EACCES] in detail


def test_a_file_in_place_of_the_directory_is_refused(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("")
    assert "not a directory" in refused(tmp_path / "state" / "arraygauge")


@pytest.mark.parametrize(
    ("filesystem", "reason"),
    [
        ("nfs4", "network"),
        ("cifs", "network"),
        ("9p", "network"),
        ("virtiofs", "network"),
        ("fuse.sshfs", "run by a program"),
        ("fuseblk", "run by a program"),
        ("tmpfs", "memory"),
        ("ramfs", "memory"),
        ("overlay", "stacked"),
        ("squashfs", "can only be read"),
        ("neverheardof", "not known"),
    ],
)
def test_unfit_filesystems_are_refused_each_with_its_reason(
    tmp_path: Path, filesystem: str, reason: str
) -> None:
    refusal = prepare_own_file(tmp_path, MIB, filesystem, False)
    assert isinstance(refusal, Refusal)
    assert filesystem in refusal.detail
    assert reason in refusal.detail
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("filesystem", ["ext4", "xfs", "btrfs", "f2fs", "vfat"])
def test_filesystems_on_devices_are_fit_unless_read_only(filesystem: str) -> None:
    assert why_unfit(filesystem, read_only=False) is None
    assert "read-only" in (why_unfit(filesystem, read_only=True) or "")


@contextmanager
def small_filesystem(directory: Path) -> Iterator[Path]:
    """A real ext4 of 32 MB on a loop device, mounted while the block runs."""
    problem = why_no_loop_devices()
    if problem is None and shutil.which("mkfs.ext4") is None:
        problem = "mkfs.ext4 is not installed"
    if problem is not None:
        pytest.skip(problem)
    image, mounted = directory / "image", directory / "mounted"
    image.touch()
    os.truncate(image, 32 * 10**6)
    mounted.mkdir()
    subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
    subprocess.run(["mount", "-o", "loop", image, mounted], check=True)
    try:
        yield mounted
    finally:
        subprocess.run(["umount", mounted], check=True)
