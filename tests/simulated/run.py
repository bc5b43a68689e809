"""Running a case until its throughput is known.

Completions are counted in batches of several times the transfers in flight, so that
bursts of completions fall alike on every batch, and of at least one period of the
address pattern where that is short. The first batches are warm-up. Batches are added
until the half-width of the 95 % confidence interval of their mean is within the aim
(method of batch means: Jain, The Art of Computer Systems Performance Analysis, 1991,
section 25.5.2).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import gcd, sqrt
from random import Random
from statistics import mean, stdev
from typing import Protocol

from simpy import Environment, Event

from arraygauge.inventory.values import Level
from simulated.cases import Case, Variation, Way
from simulated.drives import Server, Steps
from simulated.machine import Machine, machine_of
from simulated.mirrors import Mirror, MirroredStripe
from simulated.parity_reads import ParityReads
from simulated.parity_writes import ParityWrites
from simulated.striping import Striped

AIM = 0.005
"""Relative half-width of the confidence interval that ends a run."""
MOST_TRANSFERS = 32_000
WARM_UP_BATCHES = 5
FEWEST_BATCHES = 10
STUDENT_95 = 2.262
"""Two-sided 95 % quantile of Student's t with 9 degrees of freedom, the widest used."""
PLACES_BYTES = 1 << 40
"""Random places and streams spread over this much of the array."""


class Array(Protocol):
    def transfer(self, start: int, length: int) -> Event:
        """Fires when the transfer is complete."""


@dataclass(frozen=True, slots=True)
class Measured:
    """``half_width``: of the 95 % confidence interval, as a share of the rate."""

    bytes_per_second: float
    half_width: float
    transfers: int


def simulate(case: Case) -> Measured:
    env = Environment()
    random = Random(case.seed)
    array = _array(env, case, machine_of(env, case, random))
    tally = _Tally(env, case)
    sources = _sources(case, random)
    for number in range(case.depth):
        env.process(_worker(case, array, sources[number % len(sources)], tally))
    env.run(until=tally.enough)
    return tally.result()


def _array(env: Environment, case: Case, machine: Machine) -> Array:
    if case.level is Level.RAID0:
        return Striped(env, case, machine)
    if case.level is Level.RAID1:
        return Mirror(env, case, machine)
    if case.level is Level.RAID10:
        return MirroredStripe(env, case, machine)
    parity = ParityReads if case.way is Way.READ else ParityWrites
    return parity(env, case, machine, Server(env))


def _sources(case: Case, random: Random) -> list[Iterator[int]]:
    """Where transfers begin: one endless source for each stream, or one of random places."""
    size = case.transfer_bytes
    end = _end(case)
    if not case.streams:
        return [_random_places(random, end // size, size)]
    starts = [random.randrange(end // size) * size for _ in range(1, case.streams)]
    return [_in_order(start, end, size) for start in (case.start_bytes, *starts)]


def _end(case: Case) -> int:
    """Unequal members end where the array does."""
    return sum(case.sizes) if case.sizes else PLACES_BYTES


def _random_places(random: Random, count: int, size: int) -> Iterator[int]:
    while True:
        yield random.randrange(count) * size


def _in_order(start: int, end: int, size: int) -> Iterator[int]:
    at = start
    while True:
        if at + size > end:
            at = start
        yield at
        at += size


def _worker(case: Case, array: Array, source: Iterator[int], tally: _Tally) -> Steps:
    while True:
        yield array.transfer(next(source), case.transfer_bytes)
        tally.completed()


class _Tally:
    """Counts completions and says when they are enough."""

    def __init__(self, env: Environment, case: Case) -> None:
        self._env = env
        self._case = case
        self._batch = _batch(case)
        self._count = 0
        self._marks: list[float] = []
        self._look_at = 1 + WARM_UP_BATCHES + FEWEST_BATCHES
        self.enough = env.event()

    def completed(self) -> None:
        self._count += 1
        if self._count % self._batch == 0:
            self._marks.append(self._env.now)
            if not self.enough.triggered and self._is_enough():
                self.enough.succeed()

    def _is_enough(self) -> bool:
        """Looks when there are a quarter more batches than at the last look."""
        if len(self._marks) < self._look_at:
            return False
        self._look_at += self._look_at // 4
        return self._count >= MOST_TRANSFERS or self.result().half_width <= AIM

    def result(self) -> Measured:
        marks = self._marks[WARM_UP_BATCHES:]
        batches = [later - earlier for earlier, later in pairwise(marks)]
        per_batch = mean(batches)
        error = STUDENT_95 * stdev(batches) / sqrt(len(batches))
        return Measured(
            self._batch * self._case.transfer_bytes / per_batch, error / per_batch, self._count
        )


def _batch(case: Case) -> int:
    """Transfers in a batch: a multiple of the depth, covering whole address periods if few do."""
    period = case.chunk_bytes * case.width * max(1, case.width - 1)
    round_trip = period // gcd(period, case.transfer_bytes)
    by_chance = not case.streams or case.variation is not Variation.NONE
    fewest = (16 if by_chance else 2) * case.depth
    return case.depth * -(-max(fewest, min(round_trip, 1000)) // case.depth)
