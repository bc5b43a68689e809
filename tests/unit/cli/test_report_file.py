"""A report on the disk: whole or not at all, and never in place of something else."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from arraygauge.errors import OperatorError
from arraygauge.service.report_file import write_report
from arraygauge.tell.report.render import MARKER


class TestTheFile:
    def test_a_report_takes_the_place_of_a_report(self, tmp_path: Path) -> None:
        path = tmp_path / "r.html"
        assert not write_report(path, f"{MARKER} one")
        assert write_report(path, f"{MARKER} two")
        assert path.read_text() == f"{MARKER} two"
        assert [each.name for each in tmp_path.iterdir()] == ["r.html"]

    def test_others_may_read_it_as_far_as_the_umask_lets_them(self, tmp_path: Path) -> None:
        before = os.umask(0o027)
        try:
            write_report(tmp_path / "r.html", MARKER)
        finally:
            os.umask(before)
        assert stat.S_IMODE((tmp_path / "r.html").stat().st_mode) == 0o640

    def test_nothing_else_is_ever_replaced(self, tmp_path: Path) -> None:
        mine = tmp_path / "thesis.html"
        mine.write_text("<!doctype html>years of work")
        link = tmp_path / "link.html"
        link.symlink_to(mine)
        (tmp_path / "folder.html").mkdir()
        os.mkfifo(tmp_path / "pipe.html")
        for name in ("thesis.html", "link.html", "folder.html", "pipe.html"):
            with pytest.raises(OperatorError) as raised:
                write_report(tmp_path / name, MARKER)
            assert raised.value.remedy
        assert mine.read_text() == "<!doctype html>years of work"
        assert len(list(tmp_path.iterdir())) == 4

    def test_a_place_that_is_not_there_is_named(self, tmp_path: Path) -> None:
        with pytest.raises(OperatorError, match="no such directory"):
            write_report(tmp_path / "nowhere" / "r.html", MARKER)

    def test_a_full_disk_leaves_the_report_before(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        path = tmp_path / "r.html"
        write_report(path, f"{MARKER} one")

        def full(descriptor: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(OperatorError, match="No space left"):
            write_report(path, f"{MARKER} two")
        assert path.read_text() == f"{MARKER} one"
        assert [each.name for each in tmp_path.iterdir()] == ["r.html"]
