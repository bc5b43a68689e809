"""An invented machine of one array, measured pass after pass: whole statuses, without a disk."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from random import Random
from typing import Any

from arraygauge.inventory.values import Array, BlockDevice, Host, Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device, peer_references
from arraygauge.judge.baseline import READINGS_NEEDED
from arraygauge.judge.drifting import DriftMemory, observe_drift
from arraygauge.judge.findings import Matter
from arraygauge.judge.incidents import ChangeKind, IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.strays import strays_of
from arraygauge.probe.values import Attempt, Outcome
from invented import array, drive, host, measured, member

RATE = 200e6
HOUR = 3600.0
NAMES = ("sda", "sdb", "sdc", "sdd")
BEGAN = 1_700_000_000.0


@dataclass(slots=True)
class Machine:
    """``own`` are rates as built, by name. The array gives as many times its slowest member's
    rate as it stripes over (``wide``), but no more than ``wall``. Noise is seeded: a share of
    ``spread`` for each figure. ``disks`` are there beside what is measured."""

    names: tuple[str, ...] = NAMES
    level: Level = Level.RAID0
    own: Mapping[str, float] = field(default_factory=dict)
    spread: float = 0.01
    wall: float = float("inf")
    seed: int = 1
    drives: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    members: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    disks: tuple[str, ...] = ()
    passes: int = 0
    every_seconds: float = HOUR
    clock_set_by: float = 0.0
    _random: Random = field(init=False)

    def __post_init__(self) -> None:
        self._random = Random(self.seed)

    @property
    def array(self) -> Array:
        held = [
            member(name, **{"slot": slot, **self.members.get(name, {})})
            for slot, name in enumerate(self.names)
        ]
        return array(
            self.level, held, chunk_bytes=None if self.level is Level.RAID1 else 512 * 1024
        )

    @property
    def host(self) -> Host:
        bodies: list[BlockDevice] = [
            drive(name, **self.drives.get(name, {})) for name in (*self.disks, *self.names)
        ]
        return replace(host([self.array], bodies), taken_at_seconds=self.moment)

    @property
    def moment(self) -> float:
        return BEGAN + self.passes * self.every_seconds + self.clock_set_by

    def status(self, slower: Mapping[str, float] | None = None, **changes: Any) -> Status:
        """The next pass. ``slower`` are shares by name, of a drive or of md0 itself;
        ``changes`` are of every measurement."""
        loss = slower or {}
        true = {name: self.own.get(name, RATE) * (1 - loss.get(name, 0.0)) for name in self.names}
        whole = min(len(self.names) * min(true.values()), self.wall) * (1 - loss.get("md0", 0.0))
        attempts = {name: self._attempt(name, rate, changes) for name, rate in true.items()}
        attempts["md0"] = self._attempt("md0", whole, changes)
        self.passes += 1
        return self.judged(attempts)

    def unmeasured(self) -> Status:
        """A pass in which every measurement was cut short."""
        return self.status(outcome=Outcome.INTERRUPTED)

    def judged(self, attempts: Mapping[str, Attempt]) -> Status:
        seen, md0, grounds = self.host, self.array, Grounds()
        peers = peer_references(seen, attempts)
        return Status(
            host=seen,
            arrays=(assess_array(seen, md0, attempts, grounds),),
            devices=tuple(
                assess_device(seen, each, attempts[each.name], peers, grounds)
                for each in seen.devices
                if each.name in self.names
            ),
            seconds=10.0,
        )

    def _attempt(self, name: str, rate: float, changes: Mapping[str, Any]) -> Attempt:
        noisy = rate * (1 + self._random.gauss(0, self.spread))
        plain = replace(measured(name, noisy), started_at_seconds=self.moment)
        return replace(plain, **changes)

    def lived(self, passes: int = READINGS_NEEDED + 20) -> DriftMemory:
        """What is remembered after so many quiet passes."""
        memory = DriftMemory()
        for status in self.quiet(passes):
            _, memory = observe_drift(status, memory)
        return memory

    def quiet(self, passes: int) -> Iterator[Status]:
        for _ in range(passes):
            yield self.status()


@dataclass(slots=True)
class Told:
    """What an agent that is shown one pass after the other opens incidents of: by peers, by theory
    and by drift together, counted by origin and matter."""

    opened: Counter[str] = field(default_factory=Counter)
    _book: IncidentBook = field(default_factory=IncidentBook)
    _memory: DriftMemory = field(default_factory=DriftMemory)

    def see(self, status: Status, moment: float) -> None:
        drift, self._memory = observe_drift(status, self._memory)
        slower = {each.cause.stable_id for each in drift.findings if each.matter is Matter.DRIFT}
        strays = strays_of(status, self._memory.watched)
        for observation in (observe_status(status, slower, strays), drift):
            self._book, changes = advance(self._book, observation, moment)
            self.opened.update(
                f"{change.incident.finding.origin}: {change.incident.finding.matter}"
                for change in changes
                if change.kind in (ChangeKind.OPENED, ChangeKind.REOPENED)
            )
