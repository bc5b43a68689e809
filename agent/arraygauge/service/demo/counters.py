"""What the kernel would have counted of the invented drives while somebody works on them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from arraygauge.inventory.counters import IoCounters
from arraygauge.values import frozen

READS_PER_SECOND = 110.0
"""Of each member, while somebody plays footage from its array."""
READ_BYTES = 512 * 1024
READ_SECONDS = 0.0016
BUSY_SHARE = 0.17
WAITING = 5
"""Requests that a drive which does not answer holds."""


@frozen
class Work:
    """Somebody works on these drives from ``begins`` to ``ends``; one of them, ``frozen``,
    answers nothing from ``freezes`` to ``thaws``, and the work waits for it. Seconds of uptime."""

    bays: frozenset[str]
    begins: float
    ends: float
    frozen: str
    freezes: float
    thaws: float

    def worked(self, after: float, until: float) -> float:
        """Seconds in between in which requests completed."""
        waited = _overlap(after, until, self.freezes, self.thaws)
        return _overlap(after, until, self.begins, self.ends) - waited

    def is_frozen(self, name: str, moment: float) -> bool:
        return name == self.frozen and self.freezes < moment < self.thaws


@dataclass(slots=True)
class _Total:
    worked: float = 0.0
    waited: float = 0.0
    """Seconds in which requests waited and none completed."""
    completed_wait: float = 0.0
    """Of those, what the kernel has added to the requests' own time: at their end."""


@dataclass(slots=True)
class InventedCounters:
    """Counters of all invented drives since the beginning; ``work`` may be changed while nothing
    is under way. ``clock`` gives the uptime."""

    clock: Callable[[], float]
    work: Work | None = None
    _totals: dict[str, _Total] = field(default_factory=dict)
    _read_at: float = 0.0

    def open(self, names: Sequence[str]) -> OpenedCounters:
        return OpenedCounters(counters=self, names=tuple(names))

    def now(self, names: Sequence[str]) -> dict[str, IoCounters | None]:
        moment = self.clock()
        for name in names:
            self._pass_time(name, moment)
        self._read_at = moment
        return {name: self._of(name, moment) for name in names}

    def _pass_time(self, name: str, moment: float) -> None:
        total, work = self._totals.setdefault(name, _Total()), self.work
        if work is None or name not in work.bays:
            return
        total.worked += work.worked(self._read_at, moment)
        if name == work.frozen:
            total.waited += _overlap(self._read_at, moment, work.freezes, work.thaws)
        if not work.is_frozen(name, moment):
            total.completed_wait = total.waited

    def _of(self, name: str, moment: float) -> IoCounters:
        total = self._totals[name]
        reads = int(total.worked * READS_PER_SECOND)
        frozen = self.work is not None and self.work.is_frozen(name, moment)
        own = reads * READ_SECONDS
        return IoCounters(
            reads=reads,
            read_bytes=reads * READ_BYTES,
            read_seconds=own + WAITING * total.completed_wait,
            writes=0,
            written_bytes=0,
            write_seconds=0.0,
            in_flight=WAITING if frozen else 0,
            busy_seconds=total.worked * BUSY_SHARE + total.waited,
            weighted_seconds=own + WAITING * total.waited,
            discards=0,
            discarded_bytes=0,
            discard_seconds=0.0,
            flushes=0,
            flush_seconds=0.0,
        )


@frozen
class OpenedCounters:
    """Those of some drives, as the passive watch reads them."""

    counters: InventedCounters
    names: tuple[str, ...]

    def read(self) -> dict[str, IoCounters | None]:
        return self.counters.now(self.names)

    def close(self) -> None:
        """Nothing is open."""


def _overlap(after: float, until: float, begins: float, ends: float) -> float:
    return max(0.0, min(until, ends) - max(after, begins))
