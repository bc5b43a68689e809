"""Invented drives under load, and the counters a kernel would keep of them.

Each drive is a queue: a latency that many requests pass at once, then a stage that serves
one after the other. Drives may share a link, which serves first come, first served. Counters
follow Documentation/admin-guide/iostats.rst: time in flight summed over requests when they
complete, busy time by the clock, weighted time as requests in flight over time, all printed
in whole milliseconds; busy time moves in ticks where the kernel has it so.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random

from arraygauge.inventory.counters import IoCounters


@dataclass(frozen=True, slots=True)
class Request:
    """Asked of one drive. ``seek``: it does not continue the one before."""

    drive: int
    size: int
    write: bool = False
    seek: bool = False


@dataclass(slots=True)
class Link:
    """Serves all bytes of its drives one after the other."""

    rate: float
    free_at: float = 0.0
    carried: int = 0


@dataclass(slots=True)
class Drive:
    """``factor`` stretches everything it does; ``limit`` is a rate that it is held to with a
    burst of a tenth of a second; ``ticks`` a second in which the kernel counts busy time."""

    rate: float
    seek_seconds: float = 0.0
    latency_seconds: float = 0.0
    factor: float = 1.0
    limit: float | None = None
    link: Link | None = None
    ticks: int | None = None
    frozen_until: float = 0.0
    free_at: float = 0.0
    budget_at: float = 0.0
    in_flight: int = 0
    asked_at: float = 0.0
    """When it last got something to do after having nothing."""
    changed_at: float = 0.0
    stamp: int = 0
    busy: float = 0.0
    weighted: float = 0.0
    counts: list[int] = field(default_factory=lambda: [0, 0, 0, 0])
    waited: list[float] = field(default_factory=lambda: [0.0, 0.0])

    def served_at(self, now: float, request: Request, random: Random) -> float:
        """When the request leaves the drive."""
        vary = random.uniform(0.6, 1.4)
        reaching = self.seek_seconds * random.uniform(0.3, 1.7) if request.seek else 0.0
        latency = self.latency_seconds * random.expovariate(1.0) * self.factor
        start = max(now, self.frozen_until)
        if self.limit is not None:
            start = max(start, self.budget_at)
            self.budget_at = max(self.budget_at, now - 0.1) + request.size / self.limit
        ready = max(start + latency, self.free_at)
        self.free_at = ready + (reaching + vary * request.size / self.rate) * self.factor
        return self.free_at

    def pass_time(self, now: float, *, end: bool) -> None:
        """Adds the time since the last request came or went."""
        elapsed = now - self.changed_at
        self.changed_at = now
        self.weighted += elapsed * self.in_flight
        if self.ticks is None:
            self.busy += elapsed if self.in_flight else 0.0
            return
        tick = int(now * self.ticks)
        if tick > self.stamp:
            self.busy += (tick - self.stamp) / self.ticks if end or self.in_flight else 0.0
            self.stamp = tick

    def counters(self, now: float) -> IoCounters:
        weighted = self.weighted + (now - self.changed_at) * self.in_flight
        moving = self.ticks is None and self.in_flight > 0
        busy = self.busy + (now - self.changed_at if moving else 0.0)
        return IoCounters(
            reads=self.counts[0],
            read_bytes=self.counts[2],
            read_seconds=int(self.waited[0] * 1000) / 1000,
            writes=self.counts[1],
            written_bytes=self.counts[3],
            write_seconds=int(self.waited[1] * 1000) / 1000,
            in_flight=self.in_flight,
            busy_seconds=int(busy * 1000) / 1000,
            weighted_seconds=int(weighted * 1000) / 1000,
            discards=0,
            discarded_bytes=0,
            discard_seconds=0.0,
            flushes=0,
            flush_seconds=0.0,
        )


Asking = Callable[["Machine"], list[Request]]
"""What a worker asks next, all at once; it goes on when all is done."""


@dataclass(frozen=True, slots=True)
class Load:
    """``workers`` that ask, wait, and think."""

    workers: int
    asking: Asking
    think_seconds: float = 0.0


@dataclass(slots=True)
class _Worker:
    load: Load
    left: int = 0


class Machine:
    """Drives under a load that may be changed at any time."""

    def __init__(self, drives: list[Drive], seed: int) -> None:
        self.drives = drives
        self.random = Random(seed)
        self.now = 0.0
        self._loads: tuple[Load, ...] = ()
        self._events: list[tuple[float, int, _Worker, Request | None, float]] = []
        self._number = 0
        self._at_link: set[int] = set()

    def bear(self, *loads: Load) -> None:
        """Workers of the loads borne until now end with what they have asked."""
        self._loads = loads
        for load in loads:
            for _ in range(load.workers):
                self._push(self.now + self.random.random() * 0.05, _Worker(load), None, 0.0)

    def run(self, until: float) -> None:
        events = self._events
        while events and events[0][0] <= until:
            self.now, number, worker, request, asked_at = heapq.heappop(events)
            if request is None:
                self._ask(worker)
            elif number in self._at_link:
                self._at_link.discard(number)
                self._cross(worker, request, asked_at)
            else:
                self._complete(worker, request, asked_at)
        self.now = until

    @property
    def requests(self) -> int:
        """Events so far: a request is one, or two over a link."""
        return self._number

    def readings(self) -> dict[str, IoCounters | None]:
        return {name_of(slot): each.counters(self.now) for slot, each in enumerate(self.drives)}

    def _push(self, at: float, worker: _Worker, request: Request | None, asked_at: float) -> int:
        self._number += 1
        heapq.heappush(self._events, (at, self._number, worker, request, asked_at))
        return self._number

    def _ask(self, worker: _Worker) -> None:
        if worker.load not in self._loads:
            return
        asked = worker.load.asking(self)
        worker.left = len(asked)
        for request in asked:
            drive = self.drives[request.drive]
            drive.pass_time(self.now, end=False)
            drive.asked_at = drive.asked_at if drive.in_flight else self.now
            drive.in_flight += 1
            number = self._push(
                drive.served_at(self.now, request, self.random), worker, request, self.now
            )
            if drive.link is not None:
                self._at_link.add(number)

    def _cross(self, worker: _Worker, request: Request, asked_at: float) -> None:
        link = self.drives[request.drive].link
        assert link is not None
        link.carried += request.size
        link.free_at = max(self.now, link.free_at) + request.size / link.rate
        self._push(link.free_at, worker, request, asked_at)

    def _complete(self, worker: _Worker, request: Request, asked_at: float) -> None:
        drive = self.drives[request.drive]
        drive.pass_time(self.now, end=True)
        drive.in_flight -= 1
        drive.counts[request.write] += 1
        drive.counts[2 + request.write] += request.size
        drive.waited[request.write] += self.now - asked_at
        worker.left -= 1
        if not worker.left:
            think = worker.load.think_seconds
            pause = self.random.expovariate(1 / think) if think else 0.0
            self._push(self.now + pause, worker, None, 0.0)


def name_of(slot: int) -> str:
    return "sd" + "bcdefghijklm"[slot]


KIB = 1024


def streaming(size: int, *, write: bool = False) -> Asking:
    """Whole stripes in order: the same of every drive."""
    return lambda machine: [
        Request(slot, size, write, machine.random.random() < 0.1)
        for slot in range(len(machine.drives))
    ]


def scattered(sizes: tuple[int, ...], writes: float = 0.0) -> Asking:
    """One request at a random place, of one of the sizes."""

    def ask(machine: Machine) -> list[Request]:
        random = machine.random
        slot = random.randrange(len(machine.drives))
        return [Request(slot, random.choice(sizes), random.random() < writes, True)]

    return ask


def hot(slot: int, size: int, *, write: bool = False) -> Asking:
    """All on one drive, such as a file system's busiest place."""
    return lambda _: [Request(slot, size, write, True)]


def mirrored(size: int, writes: float, *, nearest: bool) -> Asking:
    """Reads go to the copy with fewest requests pending, or a stream keeps to its copy while
    others go anywhere; writes go to all copies."""

    def ask(machine: Machine) -> list[Request]:
        random, drives = machine.random, machine.drives
        if random.random() < writes:
            return [Request(slot, size, True, nearest) for slot in range(len(drives))]
        if nearest and random.random() < 0.7:
            return [Request(0, size)]
        fewest = min(range(len(drives)), key=lambda slot: (drives[slot].in_flight, random.random()))
        return [Request(fewest, size, False, nearest)]

    return ask


def turning(count: int) -> list[Drive]:
    """Hard disks; of one model they differ by 5 % either way (common practice)."""
    return [Drive(rate=150e6 * (0.95 + 0.02 * slot), seek_seconds=0.008) for slot in range(count)]


def flash(count: int, ticks: int | None = None) -> list[Drive]:
    """SSDs at a scaled-down rate, with a latency that many requests pass at once; of one model
    they differ by 3 % either way (common practice)."""
    return [
        Drive(rate=60e6 * (0.97 + 0.012 * slot), latency_seconds=5e-4, ticks=ticks)
        for slot in range(count)
    ]


def held(count: int) -> list[Drive]:
    """Fast drives held to a rate, as a hypervisor does it."""
    return [Drive(rate=1e9, latency_seconds=2e-4, limit=20e6, ticks=250) for _ in range(count)]


def moments(start: float, end: float, step: float = 2.0) -> Iterator[float]:
    number = 1
    while start + number * step <= end + 1e-9:
        yield start + number * step
        number += 1
