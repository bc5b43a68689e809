"""What the history's tests share: a clock they can set, and limits they can reach."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from arraygauge.history import History, Ledger, Moment, open_history


@dataclass
class InventedClock:
    """Callable like the system's; set its fields to do to a clock what the world does."""

    wall_seconds: float = 1_800_000_000.0
    uptime_seconds: float = 5_000.0
    boot_id: str | None = "invented-boot"

    def __call__(self) -> Moment:
        return Moment(
            wall_seconds=self.wall_seconds,
            uptime_seconds=self.uptime_seconds,
            boot_id=self.boot_id,
        )

    def pass_seconds(self, seconds: float) -> None:
        self.wall_seconds += seconds
        self.uptime_seconds += seconds

    def reboot(self) -> None:
        self.uptime_seconds = 20.0
        self.boot_id = f"{self.boot_id}+"


@pytest.fixture
def clock() -> InventedClock:
    return InventedClock()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state" / "history.sqlite"


@pytest.fixture
def history(path: Path) -> Iterator[History]:
    with open_history(path) as opened:
        yield opened


@pytest.fixture
def ledger(history: History, clock: InventedClock) -> Ledger:
    return Ledger(history, clock)
