"""A drive as a queue: first come, first served, one operation at a time, either way.

The order a drive serves in is the order md sent in, so what an operation costs can be
told when it arrives: its bytes, and what it takes to reach each of its extents.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from random import Random

from simpy import Environment, Event

from simulated.cases import Case, Drive, Variation, Way

Extent = tuple[int, int]
"""Address on the drive and length, bytes."""


@dataclass(frozen=True, slots=True)
class Operation:
    """What one transfer asks of one drive at one moment: extents served in a row, in order
    of address, as the block layer's plug merges and sorts what is sent together."""

    slot: int
    way: Way
    extents: tuple[Extent, ...]

    @property
    def length(self) -> int:
        return sum(length for _, length in self.extents)


class Server:
    """Anything that serves in order of arrival."""

    def __init__(self, env: Environment) -> None:
        self._env = env
        self._free_at = 0.0

    @property
    def idle_seconds(self) -> float:
        """Since it last had something to do."""
        return max(0.0, self._env.now - self._free_at)

    def serve(self, seconds: float, then: float = 0.0) -> Event:
        """Fires when served, and ``then`` seconds later."""
        self._free_at = max(self._env.now, self._free_at) + seconds
        return self._env.timeout(self._free_at - self._env.now + then)


class Cost:
    """What operations on one drive take, in the order they are served."""

    def __init__(self, drive: Drive, *, heads: bool, variation: Variation, random: Random) -> None:
        self._drive = drive
        self._heads = heads
        self._variation = variation
        self._random = random
        self._at = 0

    def seconds(self, operation: Operation, idle_seconds: float) -> tuple[float, float]:
        """(getting there, moving bytes) of the next operation served. Platters turn while
        the drive is idle: what passed under the heads then need not be waited for."""
        rate = self._drive.read if operation.way is Way.READ else self._drive.write
        first, *others = sorted(operation.extents)
        reaching = self._reach(*first, rate, idle_seconds)
        reaching += sum(self._reach(*extent, rate, 0.0) for extent in others)
        factor = self._factor()
        return reaching * factor, operation.length / rate * factor

    def _reach(self, address: int, length: int, rate: float, idle_seconds: float) -> float:
        """Nothing when it continues; drives with heads wait for a small gap to pass."""
        gap, self._at = address - self._at, address + length
        if not gap:
            return 0.0
        if self._heads and gap > 0:
            return min(max(0.0, gap / rate - idle_seconds), self._drive.operation_seconds)
        return self._drive.operation_seconds

    def _factor(self) -> float:
        if self._variation is Variation.NONE:
            return 1.0
        if self._variation is Variation.UNIFORM:
            return self._random.uniform(0.5, 1.5)
        return self._random.expovariate(1.0)


def costs_of(case: Case, random: Random) -> tuple[Cost, ...]:
    return tuple(
        Cost(drive, heads=case.heads, variation=case.variation, random=random)
        for drive in case.drives
    )


def gathered(env: Environment, events: list[Event]) -> Event:
    """Fires with the last of the events; all of them must still be ahead."""
    if len(events) == 1:
        return events[0]
    done = env.event()
    if not events:
        return done.succeed()
    left = len(events)

    def one(_: Event) -> None:
        nonlocal left
        left -= 1
        if not left:
            done.succeed()

    for event in events:
        watch(event, one)
    return done


def watch(event: Event, action: object) -> None:
    """Adds a callback to an event that has not been processed yet."""
    if event.callbacks is None:
        raise RuntimeError("the event has passed")
    event.callbacks.append(action)  # type: ignore[arg-type]


Steps = Generator[Event, None, None]
"""A SimPy process."""
