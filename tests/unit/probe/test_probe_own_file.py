"""The agent's own file: made whole or not at all, reused only when it is surely ours."""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from arraygauge.probe.own_file import OwnFile, Refusal, prepare_own_file
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Outcome
from unit.probe.probe_requests import request
from unit.probe.real_filesystem import (
    hosted,
)

MIB = 1 << 20
NAME = "arraygauge-probe-4MiB.random"
PARTIAL = f".{NAME}.partial"


def prepare(directory: Path, size_bytes: int, stop: StopToken) -> OwnFile | Refusal:
    existing = next(path for path in (directory, *directory.parents) if path.is_dir())
    return prepare_own_file(Prober(stop), "sdz", [directory], size_bytes, hosted(existing))


def prepared(directory: Path, size_bytes: int = 4 * MIB) -> OwnFile:
    stop = StopToken()
    made = prepare(directory, size_bytes, stop)
    stop.close()
    assert isinstance(made, OwnFile), made
    return made


def refused(directory: Path, size_bytes: int = 4 * MIB) -> str:
    stop = StopToken()
    refusal = prepare(directory, size_bytes, stop)
    stop.close()
    assert isinstance(refusal, Refusal), refusal
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
    assert sum(place.zero_bytes for place in measured.places) == 0


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


def test_told_to_stop_it_is_not_begun(tmp_path: Path, stop: StopToken) -> None:
    stop.set()
    refusal = prepare(tmp_path, 4 * MIB, stop)
    assert isinstance(refusal, Refusal)
    assert "told to stop" in refusal.detail
    assert list(tmp_path.iterdir()) == []


def test_told_to_stop_in_mid_writing_it_leaves_nothing(tmp_path: Path, stop: StopToken) -> None:
    """A file of 2 GiB takes longer than the fifth of a second it is given."""
    timer = threading.Timer(0.2, stop.set)
    timer.start()
    began = time.monotonic()
    refusal = prepare(tmp_path, 2048 * MIB, stop)
    timer.join()
    assert isinstance(refusal, Refusal)
    assert "told to stop" in refusal.detail
    assert time.monotonic() - began < 1.5
    assert list(tmp_path.iterdir()) == []


def test_a_writer_whose_parent_is_killed_leaves_no_file_under_the_name(tmp_path: Path) -> None:
    """At eight moments; whatever is there under the name is whole, and the next run clears up."""
    program = (
        "import sys; from pathlib import Path;"
        f"sys.path[:0] = {sys.path!r};"
        "from unit.probe.test_probe_own_file import prepared;"
        "print('ready', flush=True);"
        f"prepared(Path({str(tmp_path)!r}), {32 * MIB})"
    )
    name = tmp_path / "arraygauge-probe-32MiB.random"
    for moment in range(8):
        with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(0.02 * moment)
            writer.send_signal(signal.SIGKILL)
        time.sleep(0.1)
        assert {path.name for path in tmp_path.iterdir()} <= {name.name, f".{name.name}.partial"}
        if name.exists():
            assert name.stat().st_size == 32 * MIB
            name.unlink()
    prepared(tmp_path, 32 * MIB)
    assert [path.name for path in tmp_path.iterdir()] == [name.name]


def test_leftovers_of_other_sizes_are_removed_too_but_nothing_else(tmp_path: Path) -> None:
    for name in (".arraygauge-probe-7MiB.random.partial", ".arraygauge-probe-x.partial", "film"):
        (tmp_path / name).write_bytes(b"half")
    prepared(tmp_path)
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {NAME, ".arraygauge-probe-x.partial", "film"}


def test_one_with_a_second_name_is_refused_and_left(tmp_path: Path) -> None:
    """A hard link may be another program's file."""
    (tmp_path / "film").write_bytes(os.urandom(4 * MIB))
    (tmp_path / NAME).hardlink_to(tmp_path / "film")
    assert "second name" in refused(tmp_path)
    assert (tmp_path / "film").stat().st_nlink == 2


def test_a_directory_on_another_device_is_refused(tmp_path: Path, stop: StopToken) -> None:
    """As when its filesystem was unmounted since inventory looked: what shows through is not it."""
    elsewhere = hosted(Path("/proc"))
    refusal = prepare_own_file(Prober(stop), "sdz", [tmp_path / "new"], 4 * MIB, elsewhere)
    assert isinstance(refusal, Refusal)
    assert f"{tmp_path}/new lies on " in refusal.detail
    assert "probe.own_file_directories" in refusal.detail
    assert list(tmp_path.iterdir()) == []


def test_of_several_directories_the_first_on_the_device_is_taken(
    tmp_path: Path, stop: StopToken
) -> None:
    places = [Path("/proc/x"), tmp_path / "first", tmp_path / "second"]
    made = prepare_own_file(Prober(stop), "sdz", places, MIB, hosted(tmp_path))
    assert isinstance(made, OwnFile)
    assert made.path.parent == tmp_path / "first"
