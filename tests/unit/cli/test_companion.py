"""The companion shows each incident once, its end in the same place, and the agent's silence."""

from __future__ import annotations

import importlib
import queue
import shutil
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest

from arraygauge.cli.companion import MISSES_TO_TELL, Companion, fetched
from arraygauge.tell.desktop import Desktop
from arraygauge.tell.desktop_news import Notice, Urgency
from arraygauge.tell.incident_json import INCIDENTS_FORMAT
from arraygauge.tell.sender import SendingError


def incident(number: int = 1, **changes: Any) -> dict[str, Any]:
    plain = {
        "number": number,
        "severity": "critical",
        "worst_severity": "critical",
        "cause": {"stable_id": f"invented-{number}", "name": "sdc"},
        "closed_at_seconds": None,
        "words": {
            "headline": "md0: no redundancy left, sdc is missing",
            "reason": "2 of 3 members serve & 1 <does not>.",
            "meaning": "Copy what matters now.",
            "steps": ["Copy first.", "Then look."],
        },
        "changes": [{"at_seconds": 100.0, "told": True}],
    }
    return {**plain, **changes}


def listed(*incidents: dict[str, Any], silent: tuple[str | None, ...] = ()) -> dict[str, Any]:
    return {
        "format": INCIDENTS_FORMAT,
        "incidents": list(incidents),
        "silences": [{"cause_stable_id": each} for each in silent],
    }


@dataclass
class Desk:
    """An agent's answers in turn, and what was shown for them."""

    answers: list[dict[str, Any] | Exception] = field(default_factory=list)
    shown: list[Notice] = field(default_factory=list)
    refuses: bool = False

    def ask(self) -> dict[str, Any]:
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    def show(self, notice: Notice) -> None:
        if self.refuses:
            raise SendingError("invented refusal")
        self.shown.append(notice)

    def after(self, *answers: dict[str, Any] | Exception) -> list[int]:
        """Numbers of the incidents shown by these answers."""
        self.answers.extend(answers)
        before = len(self.shown)
        for _ in answers:
            self.companion.look()
        return [each.incident for each in self.shown[before:]]

    def __post_init__(self) -> None:
        self.companion = Companion(ask=self.ask, show=self.show, least="minor")


@pytest.fixture
def desk() -> Desk:
    return Desk()


def closed(number: int = 1) -> dict[str, Any]:
    changes = [{"at_seconds": 100.0, "told": True}, {"at_seconds": 200.0, "told": True}]
    return incident(number, closed_at_seconds=200.0, changes=changes)


def test_an_incident_is_shown_once_and_then_its_end(desk: Desk) -> None:
    assert desk.after(listed(incident()), listed(incident()), listed(incident())) == [1]
    assert desk.shown[0].urgency is Urgency.CRITICAL
    assert "Copy first." in desk.shown[0].body
    assert desk.after(listed(closed()), listed(closed())) == [1]
    assert desk.shown[1].urgency is Urgency.LOW


def test_what_was_over_before_it_looked_is_not_shown(desk: Desk) -> None:
    assert desk.after(listed(closed())) == []


def test_what_is_less_severe_or_kept_quiet_is_not_shown(desk: Desk) -> None:
    scrub = incident(2, severity="information", worst_severity="information")
    assert desk.after(listed(scrub)) == []
    assert desk.after(listed(incident())) == [1]
    quiet = [{"at_seconds": 100.0, "told": True}, {"at_seconds": 150.0, "told": False}]
    assert desk.after(listed(incident(changes=quiet))) == []


def test_what_is_silent_is_shown_once_it_is_not(desk: Desk) -> None:
    both = (incident(1), incident(2))
    assert desk.after(listed(*both, silent=("invented-1",))) == [2]
    assert desk.after(listed(*both, silent=(None,))) == []
    assert desk.after(listed(*both)) == [1]


def test_what_the_desktop_refused_is_shown_at_the_next_look(desk: Desk) -> None:
    desk.refuses = True
    assert desk.after(listed(incident())) == []
    desk.refuses = False
    assert desk.after(listed(incident())) == [1]


def test_that_the_agent_does_not_answer_is_shown_once(desk: Desk) -> None:
    gone = ConnectionRefusedError("refused")
    assert desk.after(*[gone] * (MISSES_TO_TELL - 1)) == []
    assert desk.after(gone, gone, gone) == [0]
    assert desk.after(listed(), *[{"format": "another"}] * MISSES_TO_TELL) == [0]


def test_an_agent_that_is_not_there_is_an_error_and_no_crash() -> None:
    with pytest.raises(OSError, match="refused"):
        fetched("http://127.0.0.1:1/incidents.json")


@dataclass
class PrivateBus:
    """A bus of its own with an invented notification daemon on it: ``calls`` are what it got."""

    calls: queue.Queue[tuple[Any, ...]] = field(default_factory=queue.Queue)


@pytest.fixture
def bus(monkeypatch: pytest.MonkeyPatch) -> Iterator[PrivateBus]:
    pytest.importorskip("jeepney")
    if shutil.which("dbus-daemon") is None:
        pytest.skip("dbus-daemon is not here to make a private bus")
    command = ["dbus-daemon", "--session", "--nofork", "--print-address=1"]
    daemon = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert daemon.stdout is not None
    with daemon.stdout:
        monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", daemon.stdout.readline().strip())
        made = PrivateBus()
        serving = serve_notifications(made)
        yield made
        daemon.kill()
        daemon.wait()
        serving.join(5)


def serve_notifications(bus: PrivateBus) -> threading.Thread:
    """Answers Notify with a new number, or with the one it takes the place of."""
    jeepney = importlib.import_module("jeepney")
    bus_messages = importlib.import_module("jeepney.bus_messages")
    blocking = importlib.import_module("jeepney.io.blocking")
    connection = blocking.open_dbus_connection(bus="SESSION")
    name = bus_messages.message_bus.RequestName("org.freedesktop.Notifications")
    connection.send_and_get_reply(name)

    def serve() -> None:
        number = 40
        with connection:
            while True:
                try:
                    call = connection.receive()
                except (OSError, EOFError):
                    return
                if call.header.message_type is jeepney.MessageType.method_call:
                    bus.calls.put(call.body)
                    number += 1
                    given = call.body[1] or number
                    connection.send(jeepney.new_method_return(call, "u", (given,)))

    thread = threading.Thread(target=serve)
    thread.start()
    return thread


def test_a_real_bus_carries_it_and_the_end_takes_its_place(bus: PrivateBus) -> None:
    with Desktop() as desktop:
        companion = Companion(ask=lambda: listed(incident()), show=desktop.show, least="minor")
        companion.look()
        name, replaces, _, headline, body, _, hints, _ = bus.calls.get(timeout=5)
        assert (name, replaces, headline) == ("arraygauge", 0, incident()["words"]["headline"])
        assert "&amp; 1 &lt;does not&gt;" in body
        assert hints["urgency"] == ("y", 2)
        companion.ask = lambda: listed(closed())
        companion.look()
        _, replaces, *_ = bus.calls.get(timeout=5)
        assert replaces == 41
