"""Writes of raid4, raid5 and raid6 (drivers/md/raid5.c), row by row.

A row written whole needs nothing read. A row written in part first reads what it lacks,
and may wait for its neighbours before that (STRIPE_DELAYED, raid5_activate_delayed).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from simpy import Environment, Event

from simulated.cases import Case, Gathering, Way
from simulated.drives import Extent, Operation, Server, Steps, gathered, watch
from simulated.layouts import stripe_at
from simulated.machine import Machine
from simulated.row_plans import RowPlan, plan_row
from simulated.rows import bytes_of, extents_of, patterns, pieces_of, rows_between


@dataclass(frozen=True, slots=True)
class Band:
    """Rows of one stripe that are all written in the same data chunks."""

    stripe: int
    rows: int
    pattern: int


class ParityWrites:
    """Write transfers of one parity array."""

    def __init__(self, env: Environment, case: Case, machine: Machine, arithmetic: Server) -> None:
        self._env = env
        self._case = case
        self._machine = machine
        self._arithmetic = arithmetic
        self._data = len(stripe_at(case.level, case.width, case.layout, 0).data)
        self._all = rows_between(0, case.chunk_bytes)
        self._waiting = _Waiting(env)
        self._moving = 0
        self._reading = 0

    def transfer(self, start: int, length: int) -> Event:
        """Whole stripes are written at once; rows of the stripes at the ends by their pattern."""
        chunk = self._case.chunk_bytes
        first = -(-start // (chunk * self._data))
        last = max(first, (start + length) // (chunk * self._data))
        events = [self._whole(first, last)] if last > first else []
        ends: defaultdict[int, dict[int, int]] = defaultdict(dict)
        for piece in pieces_of(start, length, chunk, self._data):
            if not first <= piece.stripe < last:
                ends[piece.stripe][piece.position] = piece.rows
        for stripe, written in ends.items():
            events += self._part(stripe, written)
        return gathered(self._env, events)

    def _part(self, stripe: int, written: dict[int, int]) -> list[Event]:
        if self._case.gathering is Gathering.NEVER_WAITS:
            return [self._write(band) for band in self._bands(stripe, written)]
        event = self._waiting.add(stripe, written)
        whole = self._waiting.take_whole(stripe, self._data)
        if whole.rows:
            watch(self._write(whole), lambda _: self._waiting.written(whole))
        self._look_again()
        return [event]

    def _bands(self, stripe: int, written: dict[int, int]) -> Iterator[Band]:
        for pattern, rows in patterns(written, self._all).items():
            yield Band(stripe, rows, pattern)

    def _whole(self, first: int, last: int) -> Event:
        """Stripes ``first`` up to ``last``, all their rows whole: no member is read."""
        chunk, count = self._case.chunk_bytes, last - first
        extents: tuple[Extent, ...] = ((first * chunk, count * chunk),)
        writes = dict.fromkeys(self._case.present, extents)
        return self._env.process(self._do({}, count * chunk * self._data, writes))

    def _write(self, band: Band) -> Event:
        stripe = stripe_at(self._case.level, self._case.width, self._case.layout, band.stripe)
        plan = plan_row(stripe, band.pattern, self._case.missing)
        return self._env.process(self._do(*self._work(plan, band)))

    def _work(
        self, plan: RowPlan, band: Band
    ) -> tuple[dict[int, tuple[Extent, ...]], int, dict[int, tuple[Extent, ...]]]:
        extents = extents_of(band.stripe, band.rows, self._case.chunk_bytes)
        return (
            dict.fromkeys(sorted(plan.reads), extents),
            plan.computed * bytes_of(band.rows),
            dict.fromkeys(sorted(plan.writes), extents),
        )

    def _do(
        self,
        reads: dict[int, tuple[Extent, ...]],
        computed: int,
        writes: dict[int, tuple[Extent, ...]],
    ) -> Steps:
        self._moving += 1
        if reads:
            self._reading += 1
            yield self._move(Way.READ, reads)
        if self._case.parity_rate:
            yield self._arithmetic.serve(computed / self._case.parity_rate)
        done = self._move(Way.WRITE, writes)
        if reads:
            self._reading -= 1
            self._look_again()
        yield done
        self._moving -= 1
        self._look_again()

    def _move(self, way: Way, extents: dict[int, tuple[Extent, ...]]) -> Event:
        moves = [self._machine.move(Operation(slot, way, ends)) for slot, ends in extents.items()]
        return gathered(self._env, moves)

    def _look_again(self) -> None:
        """Lets the waiting rows go when the time has come, after all that happens now."""
        if self._waiting:
            watch(self._env.timeout(0), lambda _: self._let_go())

    def _let_go(self) -> None:
        patient = self._case.gathering is Gathering.WHILE_ANYTHING_MOVES
        if self._moving if patient else self._reading:
            return
        for stripe, written in self._waiting.take_all():
            for band in self._bands(stripe, written):
                watch(self._write(band), lambda _, band=band: self._waiting.written(band))


class _Waiting:
    """Rows written in part that wait for their neighbours, and who waits for them."""

    def __init__(self, env: Environment) -> None:
        self._env = env
        self._dirty: defaultdict[int, dict[int, int]] = defaultdict(dict)
        self._asked: defaultdict[int, list[tuple[dict[int, int], Event]]] = defaultdict(list)

    def __bool__(self) -> bool:
        return bool(self._dirty)

    def add(self, stripe: int, written: dict[int, int]) -> Event:
        """Fires when all of these rows, by position, are on the drives."""
        dirty = self._dirty[stripe]
        for position, rows in written.items():
            dirty[position] = dirty.get(position, 0) | rows
        event = self._env.event()
        self._asked[stripe].append((dict(written), event))
        return event

    def take_whole(self, stripe: int, data: int) -> Band:
        """Rows that are dirty in every data chunk; they no longer wait."""
        dirty = self._dirty[stripe]
        rows = -1 if len(dirty) == data else 0
        for mask in dirty.values():
            rows &= mask
        for position in dirty:
            dirty[position] &= ~rows
        if not any(dirty.values()):
            del self._dirty[stripe]
        return Band(stripe, rows, (1 << data) - 1)

    def take_all(self) -> list[tuple[int, dict[int, int]]]:
        taken = list(self._dirty.items())
        self._dirty.clear()
        return taken

    def written(self, band: Band) -> None:
        """Rows of these positions are on the drives: tells those who have no others left."""
        left = []
        for written, event in self._asked[band.stripe]:
            for position in list(written):
                if band.pattern >> position & 1:
                    written[position] &= ~band.rows
            if any(written.values()):
                left.append((written, event))
            else:
                event.succeed()
        self._asked[band.stripe] = left
