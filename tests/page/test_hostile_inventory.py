"""A machine whose every name is markup, in Debian's Chromium: nothing of it runs, gets in as an
element, or pushes the page out of its window."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from page.test_page_in_browser import HERE, require_browser

Met = dict[str, Any]


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    require_browser()
    process = subprocess.Popen(
        [sys.executable, "-m", "page.hostile"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=HERE.parent,
    )
    assert process.stdout is not None
    try:
        yield process.stdout.readline().strip()
    finally:
        process.kill()
        process.communicate()


@pytest.fixture(scope="module")
def found(address: str, tmp_path_factory: pytest.TempPathFactory) -> Met:
    """What became of it: hostile.mjs."""
    kept = os.environ.get("ARRAYGAUGE_PAGE_SHOTS")
    folder = Path(kept) if kept else tmp_path_factory.mktemp("shots")
    folder.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(
        ["node", "hostile.mjs", address, str(folder)],
        cwd=HERE,
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    made: Met = json.loads(done.stdout)
    return made


def test_nothing_of_it_runs_or_gets_in_and_all_of_it_is_read(found: Met) -> None:
    for met in found["met"]:
        assert met["dialogs"] == []
        for view in met["views"]:
            assert (view["strangers"], view["scripts"]) == (0, 1)
            assert view["literal"], "the names are there, as text"


def test_nothing_is_asked_of_anybody_else_nor_refused_by_the_policy(
    found: Met, address: str
) -> None:
    for met in found["met"]:
        assert [each for each in met["requests"] if not each.startswith(f"{address}/")] == []
        assert met["complaints"] == []


def test_it_stays_in_its_window_at_both_widths(found: Met) -> None:
    for met in found["met"]:
        assert [view["wide"] for view in met["views"]] == [0, 0, 0]
        assert [view["hidden"] for view in met["views"]] == [0, 0, 0]


def test_the_way_to_the_arrays_own_page_leads_there(found: Met) -> None:
    for met in found["met"]:
        _, array, year = met["views"]
        assert array["heading"] == year["heading"]
        assert array["heading"].startswith("md")


def test_the_accessibility_checker_finds_nothing_serious(found: Met) -> None:
    assert [each for each in found["violations"] if each[1] in ("serious", "critical")] == []
