"""What a page is made from: what the agent knows, as frozen values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field

from arraygauge.history.trend import IncidentSpan, SizedRate, Stretch
from arraygauge.inventory.values import Array, Host
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Grounds, Health, Pace, Status
from arraygauge.judge.health import health_of
from arraygauge.judge.pace import rate_of
from arraygauge.probe.budget import BudgetLimits
from arraygauge.tell.metrics import BudgetUse
from arraygauge.theory import Expectation
from arraygauge.values import frozen

MOST_ARRAYS = 40
MOST_MEMBERS = 24
MOST_INCIDENTS = 20
MOST_DRIVES = 48
"""How many are shown at most: a page must stay readable, and what is left out is said."""


@frozen
class Spans:
    """Some incidents of so many."""

    found: Sequence[IncidentSpan] = ()
    total: int = 0


@frozen
class Known:
    """What is known of the machine now. ``host`` may be newer than ``status``, whose own stands
    in until something was seen; ``seen`` is the passive watch's document (``passive_json``).
    ``notice`` and ``troubles`` are sentences a reader must see first."""

    machine: str
    host: Host | None = None
    status: Status | None = None
    seen: Sequence[dict[str, object]] = ()
    budget: Sequence[BudgetUse] = ()
    limits: BudgetLimits = field(default_factory=BudgetLimits)
    grounds: Grounds = field(default_factory=Grounds)
    incidents: Spans = field(default_factory=Spans)
    notice: str = ""
    troubles: tuple[str, ...] = ()

    @property
    def arrays(self) -> tuple[Array, ...]:
        """As they were seen last."""
        return self.host.arrays if self.host is not None else ()

    def verdict(self, array: Array) -> ArrayVerdict | None:
        """That of the latest pass."""
        verdicts = self.status.arrays if self.status is not None else ()
        return next((each for each in verdicts if each.array.stable_id == array.stable_id), None)

    def basis(self, array: Array) -> Expectation | None:
        """What the array is expected to do; of one that is short of that, what it can do with
        its members as they were found: the bottleneck is then the one it has."""
        verdict = self.verdict(array)
        if verdict is None:
            return None
        short = verdict.pace is Pace.SHORT
        return (verdict.as_found if short else None) or verdict.expectation

    def health(self, array: Array) -> Health | None:
        return health_of(self.host, array) if self.host is not None else None

    def devices(self) -> dict[str, DeviceVerdict]:
        """The latest pass's verdicts by device name."""
        found = self.status.devices if self.status is not None else ()
        return {each.device.name: each for each in found}

    def member_rate(self, name: str) -> float | None:
        """Bytes per second by itself."""
        verdict = self.devices().get(name)
        return rate_of(verdict.attempt) if verdict is not None else None


@frozen
class Past:
    """One array's past between two moments, seconds since 1970. ``coarse`` is the same in few
    stretches; ``curve`` what was measured at each transfer size."""

    period: str
    start_seconds: float
    end_seconds: float
    stretches: tuple[Stretch, ...] = ()
    coarse: tuple[Stretch, ...] = ()
    incidents: Spans = field(default_factory=Spans)
    curve: tuple[SizedRate, ...] = ()
