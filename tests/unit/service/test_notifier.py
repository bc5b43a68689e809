"""Notifications as systemd documents them: sd_notify(3), sd_watchdog_enabled(3)."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from arraygauge.service.notifier import Notifier
from unit.service.notify_socket import listening


@pytest.mark.parametrize("kind", ["path", "abstract"])
def test_each_message_is_one_datagram_to_the_named_socket(kind: str, tmp_path: Path) -> None:
    """NOTIFY_SOCKET is a path, or with '@' a name in the abstract namespace (unix(7))."""
    name = str(tmp_path / "notify") if kind == "path" else f"@arraygauge-test-{os.getpid()}"
    with listening(name) as listener:
        notifier = Notifier({"NOTIFY_SOCKET": name})
        notifier.ready()
        notifier.alive()
        notifier.stopping()
        listener.hear(0.2)
    assert listener.heard == ["READY=1", "WATCHDOG=1", "STOPPING=1"]


def test_a_reload_is_announced_with_the_monotonic_time_in_microseconds(tmp_path: Path) -> None:
    with listening(str(tmp_path / "notify")) as listener:
        before = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
        Notifier({"NOTIFY_SOCKET": listener.name}).reloading()
        first, second = listener.hear_until("RELOADING").split("\n")
    after = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    assert first == "RELOADING=1"
    key, value = second.split("=")
    assert key == "MONOTONIC_USEC"
    assert before <= int(value) <= after


def test_the_status_is_one_line_and_sent_only_when_it_changes(tmp_path: Path) -> None:
    with listening(str(tmp_path / "notify")) as listener:
        notifier = Notifier({"NOTIFY_SOCKET": listener.name})
        notifier.status("all\nis well")
        notifier.status("all\nis well")
        notifier.status("not any more")
        listener.hear(0.2)
    assert listener.heard == ["STATUS=all is well", "STATUS=not any more"]


def test_the_watchdogs_time_is_for_the_process_it_names(tmp_path: Path) -> None:
    """WATCHDOG_PID, where it is set, must be ours: a child of a service inherits the rest."""
    given = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "30000000"}
    assert Notifier(given).watchdog_seconds == 30
    assert Notifier({**given, "WATCHDOG_PID": str(os.getpid())}).watchdog_seconds == 30
    assert Notifier({**given, "WATCHDOG_PID": str(os.getpid() + 1)}).watchdog_seconds is None
    assert Notifier({**given, "WATCHDOG_USEC": "nonsense"}).watchdog_seconds is None
    assert Notifier({**given, "WATCHDOG_USEC": "0"}).watchdog_seconds is None
    assert Notifier({"WATCHDOG_USEC": "30000000"}).watchdog_seconds is None


def test_nobody_listening_is_no_trouble(tmp_path: Path) -> None:
    for name in ("", "relative", str(tmp_path / "nobody"), "@arraygauge-nobody"):
        Notifier({"NOTIFY_SOCKET": name}).ready()
