"""The page as a person meets it, in Debian's Chromium: a year of an invented workstation, on the
day on which one of its arrays is slow. Screenshots are left in $ARRAYGAUGE_PAGE_SHOTS, if set."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
DAYS = 380
"""md1's sdc has then slowed for six weeks, after all else in the story: service/demo/story.py."""
SLOW_ARRAY, SLOW_MEMBER = "md1", "sdc"
Found = dict[str, Any]


def require_browser() -> None:
    """Skips, or fails where the tests are demanded."""
    there = all(map(shutil.which, ("chromium", "node")))
    if there and (HERE / "node_modules/playwright-core").is_dir():
        return
    reason = "no browser here: run 'bash tests/page/setup.sh' once"
    if os.environ.get("ARRAYGAUGE_PAGE_REQUIRED") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


def met(script: str, *arguments: str, shots: Path) -> Found:
    """What a script found that does what a person would; its screenshots are left in ``shots``,
    or in $ARRAYGAUGE_PAGE_SHOTS."""
    folder = Path(os.environ.get("ARRAYGAUGE_PAGE_SHOTS", shots))
    folder.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(
        ["node", script, *arguments, str(folder)],
        cwd=HERE,
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    made: Found = json.loads(done.stdout)
    return made


@contextmanager
def demo() -> Iterator[str]:
    """The address of a demo that has lived its days."""
    command = [sys.executable, "-m", "arraygauge", "demo", "--days", str(DAYS), "--speed", "0.4"]
    process = subprocess.Popen(
        [*command, "--port", "0"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    assert process.stdout is not None
    try:
        address = ""
        for line in process.stdout:
            if served := re.search(r"http://[0-9.]+:[0-9]+", line):
                address = served[0]
            if line.startswith("From now on"):
                break
        assert address, "the demo ended"
        yield address
    finally:
        process.kill()
        process.communicate()


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    require_browser()
    with demo() as found:
        yield found


@pytest.fixture(scope="module")
def found(address: str, tmp_path_factory: pytest.TempPathFactory) -> Found:
    """What a person found: person.mjs."""
    return met("person.mjs", address, SLOW_ARRAY, shots=tmp_path_factory.mktemp("shots"))


def test_the_slow_array_is_found_first_with_its_reason(found: Found) -> None:
    look = found["look"]
    assert SLOW_ARRAY in look["summary"]
    assert look["name"] == SLOW_ARRAY
    assert SLOW_MEMBER in look["why"]
    [odd] = look["odd"]
    assert SLOW_MEMBER in odd
    assert "odd" in odd


def test_its_page_shows_its_past_at_the_length_that_is_asked_for(found: Found) -> None:
    look = found["look"]
    assert look["heading"] == SLOW_ARRAY
    assert (look["before"], look["after"]) == ("The last week", "The last year")
    assert look["pictures"] >= 5, "gauge, members, past, way, curve"
    assert look["unnamed"] == 0


def test_nothing_is_asked_of_anybody_else_and_the_browser_does_not_complain(
    found: Found, address: str
) -> None:
    look = found["look"]
    assert [each for each in look["requests"] if not each.startswith(f"{address}/")] == []
    assert look["complaints"] == []


def test_the_keyboard_is_enough(found: Found) -> None:
    typed = found["type"]
    assert typed["skip"] == "To the content"
    assert typed["seen"]
    assert typed["outline"] != "none"
    assert typed["reached"] == SLOW_ARRAY


def test_it_follows_the_agent_and_leaves_open_what_is_open(found: Found) -> None:
    follow = found["follow"]
    assert follow["after"] != follow["before"]
    assert follow["open"]
    assert follow["still"] == follow["focused"]


def test_it_is_whole_without_script_and_its_links_are_not_printed(found: Found) -> None:
    otherwise = found["otherwise"]
    assert otherwise["heading"] == SLOW_ARRAY
    assert otherwise["pictures"] >= 5
    assert not otherwise["nav"]


def test_an_accessibility_checker_finds_nothing_serious(found: Found) -> None:
    for view in found["views"]:
        serious = [v for v in view["violations"] if v["impact"] in ("serious", "critical")]
        assert serious == [], view["name"]


def test_no_view_is_wider_than_its_window(found: Found) -> None:
    assert {each["name"]: each["wide"] - each["width"] for each in found["views"]} == dict.fromkeys(
        (each["name"] for each in found["views"]), 0
    )


def test_no_view_weighs_more_than_it_may(found: Found) -> None:
    """Before compression, with all that it loads."""
    for view in found["views"]:
        print(f"{view['name']}: {view['bytes']} B")
        assert 10_000 < view["bytes"] <= 300_000
