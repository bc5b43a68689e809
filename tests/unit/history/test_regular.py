"""The agent's own files are opened for writing only if they are files."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from arraygauge.errors import MachineTroubleError
from arraygauge.history import HistoryError, own_history
from arraygauge.history.regular import open_regular
from arraygauge.trial.guarded import sole_trial
from arraygauge.trial.record import NAME, Record

WRITING = os.O_RDWR | os.O_CREAT


def test_a_file_is_made_for_its_owner_alone_and_opened_again(tmp_path: Path) -> None:
    for _ in range(2):
        os.close(open_regular(tmp_path / "own", WRITING))
    assert (tmp_path / "own").stat().st_mode & 0o777 == 0o600


def test_a_link_a_pipe_and_a_folder_are_not_opened(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for name, number in (("link", errno.ELOOP), ("pipe", errno.EINVAL), ("folder", errno.EINVAL)):
        with pytest.raises(OSError, match=r".") as caught:
            open_regular(tmp_path / name, WRITING)
        assert caught.value.errno == number
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root makes device nodes")
def test_a_device_under_the_name_of_a_lock_or_a_record_is_left_alone(tmp_path: Path) -> None:
    """A block device with numbers nobody has: opening it would say ENXIO, not what is said."""
    for name in ("history.sqlite.lock", "trial.lock", NAME):
        try:
            os.mknod(tmp_path / name, 0o60600, os.makedev(240, 77))
        except PermissionError:
            pytest.skip("device nodes cannot be made here")
    with pytest.raises(HistoryError, match="not a regular file"):
        own_history(tmp_path / "history.sqlite")
    with pytest.raises(MachineTroubleError, match="not a regular file"), sole_trial(tmp_path):
        pytest.fail("a trial began")
    with pytest.raises(MachineTroubleError, match="not a regular file"):
        Record(tmp_path).end()
