"""A machine whose every name is markup, in Debian's Chromium: nothing of it runs, gets in as an
element, or pushes the page out of its window."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator

import pytest

from page.test_page_in_browser import HERE, Found, met, require_browser


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
def found(address: str, tmp_path_factory: pytest.TempPathFactory) -> Found:
    """What became of it: hostile.mjs."""
    return met("hostile.mjs", address, shots=tmp_path_factory.mktemp("shots"))


def test_nothing_of_it_runs_or_gets_in_and_all_of_it_is_read(found: Found) -> None:
    for seen in found["met"]:
        assert seen["dialogs"] == []
        for view in seen["views"]:
            assert (view["strangers"], view["scripts"]) == (0, 1)
            assert view["literal"], "the names are there, as text"


def test_nothing_is_asked_of_anybody_else_nor_refused_by_the_policy(
    found: Found, address: str
) -> None:
    for seen in found["met"]:
        assert [each for each in seen["requests"] if not each.startswith(f"{address}/")] == []
        assert seen["complaints"] == []


def test_it_stays_in_its_window_at_both_widths(found: Found) -> None:
    for seen in found["met"]:
        assert [view["wide"] for view in seen["views"]] == [0, 0, 0]
        assert [view["hidden"] for view in seen["views"]] == [0, 0, 0]


def test_the_way_to_the_arrays_own_page_leads_there(found: Found) -> None:
    for seen in found["met"]:
        _, array, year = seen["views"]
        assert array["heading"] == year["heading"]
        assert array["heading"].startswith("md")


def test_the_accessibility_checker_finds_nothing_serious(found: Found) -> None:
    assert [each for each in found["violations"] if each[1] in ("serious", "critical")] == []
