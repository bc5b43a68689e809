"""The watching part: looks, notices a sleep, and belongs to one thread."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import cast

import pytest

from arraygauge.inventory.values import Host
from arraygauge.probe.stop import StopToken
from arraygauge.service import watching
from arraygauge.service.keeper import Keeper
from arraygauge.service.parts import Part, Parts
from arraygauge.service.watching import Watching
from unit.service.invented_process import ANSWERS, command


class Kept:
    """Takes what the keeper would, and may fail as told."""

    def __init__(self) -> None:
        self.hosts: list[Host] = []
        self.failing = False
        self.in_doubt = False

    def see_host(self, host: Host) -> None:
        if self.failing:
            raise RuntimeError("invented failure")
        self.hosts.append(host)

    def see_trouble(self, problem: str | None) -> None:
        """Nobody asks."""


def until(true: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 10
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.01)


@pytest.mark.usefixtures("hurried")
def test_a_sleep_is_noticed_at_the_next_look_and_once(monkeypatch: pytest.MonkeyPatch) -> None:
    slept = [5.0]
    monkeypatch.setattr(watching, "suspended_seconds", lambda: slept[0])
    stop, kept, resumed = StopToken(), Kept(), []
    part = Watching(
        keeper=cast(Keeper, kept),
        stop=stop,
        on_look=lambda _: None,
        on_resume=lambda: resumed.append(1),
        command=command(ANSWERS),
    )
    parts = Parts([Part(name="watching", run=part.run)], stop, lambda: None)
    parts.start()
    until(lambda: len(kept.hosts) >= 2)
    assert resumed == []
    slept[0] = 3605.0
    until(lambda: resumed == [1])
    looks = len(kept.hosts)
    until(lambda: len(kept.hosts) >= looks + 2)
    assert resumed == [1]
    stop.set()
    assert parts.end(2) == ()


@pytest.mark.usefixtures("hurried")
def test_after_a_failure_it_watches_again_in_the_same_thread(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The kernel ends the inventory's process with the thread that started it: prctl(2)."""
    caplog.set_level(100)
    monkeypatch.setattr("arraygauge.service.parts.PAUSE_SECONDS", (0.01,))
    stop, kept, threads = StopToken(), Kept(), set[int]()
    part = Watching(
        keeper=cast(Keeper, kept),
        stop=stop,
        on_look=lambda _: threads.add(threading.get_ident()),
        on_resume=lambda: None,
        command=command(ANSWERS),
    )
    parts = Parts([Part(name="watching", run=part.run)], stop, lambda: None)
    parts.start()
    until(lambda: len(kept.hosts) >= 1)
    kept.failing = True
    until(lambda: bool(parts.troubles))
    kept.failing = False
    looks = len(kept.hosts)
    until(lambda: len(kept.hosts) > looks and not parts.troubles)
    assert len(threads) == 1
    stop.set()
    assert parts.end(2) == ()


def test_what_looks_over_is_looked_for_again_soon_without_any_event(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An agent that was started again finds a rebuild finished that it never saw begin."""
    monkeypatch.setattr(watching, "SECOND_LOOK_SECONDS", 0.05)
    stop, kept = StopToken(), Kept()
    kept.in_doubt = True
    part = Watching(
        keeper=cast(Keeper, kept),
        stop=stop,
        on_look=lambda _: None,
        on_resume=lambda: None,
        command=command(ANSWERS),
    )
    parts = Parts([Part(name="watching", run=part.run)], stop, lambda: None)
    parts.start()
    until(lambda: len(kept.hosts) >= 3)
    kept.in_doubt = False
    time.sleep(0.2)
    looks = len(kept.hosts)
    time.sleep(0.3)
    assert len(kept.hosts) == looks, "at rest it looks once a minute"
    stop.set()
    assert parts.end(2) == ()


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watching, "LOOK_SECONDS", 0.05)


def watch_until(process: tuple[str, ...], true: Callable[[Kept], bool]) -> None:
    """Watches by that process until it is so."""
    stop, kept = StopToken(), Kept()
    part = Watching(
        keeper=cast(Keeper, kept),
        stop=stop,
        on_look=lambda _: None,
        on_resume=lambda: None,
        command=process,
    )
    parts = Parts([Part(name="watching", run=part.run)], stop, lambda: None)
    parts.start()
    until(lambda: true(kept))
    stop.set()
    assert parts.end(2) == ()


@pytest.mark.parametrize(
    ("told", "asked"),
    [
        (["event('degraded')"], ["host", "arrays", "host"]),
        (["event('degraded')", "event('dev-sda/state')"], ["host", "arrays", "host"]),
        (["event('remove', kind=EventKind.BLOCK, subject='sda')"], ["host", "arrays", "host"]),
        (
            ["event('degraded')", "event('add', kind=EventKind.BLOCK, subject='sda')"],
            ["host", "host", "host"],
        ),
        (["event('missed', kind=EventKind.LOST)"], ["host", "host", "host"]),
    ],
)
def test_what_is_told_of_arrays_alone_is_looked_at_in_them_first_and_in_all_soon_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, told: list[str], asked: list[str]
) -> None:
    """The process tells once, after its first answer, and all in one piece."""
    monkeypatch.setattr(watching, "SECOND_LOOK_SECONDS", 0.2)
    log, mark = tmp_path / "log", tmp_path / "mark"
    process = command(
        f"open({str(log)!r}, 'a').write(asked + ' ')",
        "if asked in ('host', 'arrays'): tell(HOST)",
        f"if asked == 'host' and not os.path.exists({str(mark)!r}):",
        f"    open({str(mark)!r}, 'w')",
        "    pieces, whole = [], put",
        "    put = pieces.append",
        *(f"    {each}" for each in told),
        "    put = whole",
        "    put(b''.join(pieces))",
    )
    watch_until(process, lambda kept: len(kept.hosts) >= len(asked))
    assert [word for word in log.read_text().split() if word != "watch"][: len(asked)] == asked


def test_md_that_speaks_without_a_pause_does_not_keep_the_rest_from_being_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watching, "LOOK_SECONDS", 0.5)
    log = tmp_path / "log"
    process = command(
        f"open({str(log)!r}, 'a').write(asked + ' ')",
        "if asked in ('host', 'arrays'): tell(HOST); time.sleep(0.02); event('sync_action')",
    )
    watch_until(process, lambda _: log.exists() and log.read_text().split().count("host") >= 3)
    assert log.read_text().split().count("arrays") > 5
