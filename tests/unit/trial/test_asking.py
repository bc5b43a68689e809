"""What has to be typed before anything is erased, and what is shown of wear."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO

import pytest
from rich.console import Console

from arraygauge.probe.trial.values import Examined
from arraygauge.tell.trial import print_erasure, share_of_life
from arraygauge.trial.asking import confirm, to_erase
from arraygauge.trial.clearance import Cleared
from arraygauge.trial.drives import RefusedError
from invented import drive


def cleared(name: str, *, strange_at: int | None = None, serial: str | None = "S1") -> Cleared:
    return Cleared(
        device=drive(name, serial=serial),
        examined=Examined(
            device=name, problem=None, size_bytes=10**9, strange_at=strange_at, places=1002
        ),
        written_bytes=0,
    )


def typing(*lines: str) -> tuple[Callable[[str], str], list[str]]:
    asked: list[str] = []
    left = list(lines)

    def ask(question: str) -> str:
        asked.append(question)
        return left.pop(0) if left else ""

    return ask, asked


def test_blank_drives_need_one_word() -> None:
    ask, asked = typing("erase\n")
    confirm([cleared("sda"), cleared("sdb")], ask)
    assert len(asked) == 1


@pytest.mark.parametrize("word", ["", "y", "yes", "Erase", "erase all"])
def test_any_other_word_erases_nothing(word: str) -> None:
    ask, _ = typing(word)
    with pytest.raises(RefusedError, match="nothing was erased"):
        confirm([cleared("sda")], ask)


def test_a_drive_that_holds_data_needs_its_own_serial_number_as_well() -> None:
    held = cleared("sda", strange_at=4096, serial="WX-123")
    ask, asked = typing("WX-123", "erase")
    confirm([cleared("sdb"), held], ask)
    assert "sda holds data" in asked[0]
    for typed in ("", "WX-124", "wx-123", "S1", "erase"):
        ask, _ = typing(typed, "erase")
        with pytest.raises(RefusedError, match="not its serial number"):
            confirm([cleared("sdb"), held], ask)


def test_a_drive_that_holds_data_and_has_no_serial_number_cannot_be_confirmed() -> None:
    ask, _ = typing("", "erase")
    with pytest.raises(RefusedError, match="no serial number"):
        confirm([cleared("sda", strange_at=0, serial=None)], ask)


def test_wear_is_said_against_what_is_declared_or_else_assumed() -> None:
    """Shares by arithmetic: 6 TB of 600 TB; 1 GB of 100 times 1 GB."""
    assert share_of_life(6 * 10**12, 600 * 10**12, 10**12) == "1 % of its rated endurance 600 TB"
    assert share_of_life(10**9, None, 10**9).startswith("1 % of 100 writes of the whole drive")
    shown = to_erase([cleared("sda", strange_at=8192), cleared("sdb")], {"sda": 5, "sdb": 6}, {})
    console = Console(width=100, record=True, file=StringIO())
    print_erasure(console, shown, 3)
    words = console.export_text()
    assert "holds: DATA, at byte 8192, of no known kind" in words
    assert "holds: blank at all 1002 places looked at" in words
