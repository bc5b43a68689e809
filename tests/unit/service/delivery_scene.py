"""An agent's outbox with incidents made to order, a sender that fails to order, and a clock."""

from __future__ import annotations

from dataclasses import dataclass, field

from arraygauge.history import Channel, Clock, History, Outbox, Pen, Records
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.service.delivery import Delivering
from arraygauge.tell.sender import Message, SendingError
from unit.history.conftest import InventedClock
from unit.history.troubles import finding, looked, words

HOOK = Channel(name="hook")


@dataclass
class Recorder:
    """A sender that notes what it is given, and fails while it is told to."""

    name: str = "hook"
    failing: bool = False
    wait_seconds: float | None = None
    sent: list[Message] = field(default_factory=list)
    attempts: int = 0

    def send(self, message: Message) -> None:
        self.attempts += 1
        if self.failing:
            raise SendingError("invented failure", self.wait_seconds)
        self.sent.append(message)

    @property
    def told(self) -> list[tuple[int, str]]:
        return [(each["number"], each["change"]) for each in self.sent]


@dataclass
class Scene:
    """One agent's history, with incidents made to order and time that passes to order."""

    history: History
    clock: Clock
    sender: Recorder
    channels: tuple[Channel, ...] = (HOOK,)
    book: IncidentBook = field(default_factory=IncidentBook)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        pen = Pen(self.history)
        self.outbox = Outbox(pen)
        self.records = Records(pen, self.outbox)
        self.delivering = Delivering(
            self.outbox, self.history, [self.sender], self.clock, chance=lambda: 0.0
        )

    def look(self, *names: str) -> None:
        now = self.clock()
        found = looked(*(finding(name) for name in names))
        self.book, changes = advance(self.book, found, now.uptime_seconds)
        self.records.record(changes, words, self.channels, now)

    def close_all(self) -> None:
        self.look()
        self.passes(3)
        self.look()

    def send(self) -> float:
        return self.delivering.send_due()

    def send_after(self, seconds: float) -> float:
        self.passes(seconds)
        return self.send()

    def passes(self, seconds: float) -> None:
        assert isinstance(self.clock, InventedClock)
        self.clock.pass_seconds(seconds)
