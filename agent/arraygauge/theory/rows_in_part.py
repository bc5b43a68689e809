"""One stream of writes that fill no whole stripes: what each transfer costs which member.

Transfers that each stand alone share the members of their stripes, and the parity above
all. Taking as many of them as are in flight together, first all their reads and then
all their writes, is something the kernel is never slower than. It may take them in two
batches by turns: while one moves, the other waits for it (raid5.c raid5_activate_delayed).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from math import gcd, inf
from operator import add

from arraygauge.theory.geometry import Geometry, Row, rows

MOST_PLACES = 512
MOST_ORBITS = 8
MOST_WINDOWS = 16
"""So many places where a transfer may begin are counted; so many windows, spread evenly."""


@dataclass(frozen=True, slots=True)
class Phase:
    """Reads or writes of a window: bytes and operations of the slot that has most, and bytes
    that a slot has on the mean."""

    most_bytes: float = 0.0
    mean_bytes: float = 0.0
    operations: float = 0.0

    def __add__(self, other: Phase) -> Phase:
        return Phase(
            self.most_bytes + other.most_bytes,
            self.mean_bytes + other.mean_bytes,
            self.operations + other.operations,
        )

    def divided(self, count: int) -> Phase:
        return Phase(self.most_bytes / count, self.mean_bytes / count, self.operations / count)


@dataclass(frozen=True, slots=True)
class WindowWork:
    """What is done for one window, in one batch or two; ``rounds`` of reads and of writes, each
    of which waits for its slowest."""

    reads: Phase = Phase()
    writes: Phase = Phase()
    rounds: float = 0.0

    def __add__(self, other: WindowWork) -> WindowWork:
        return WindowWork(
            self.reads + other.reads, self.writes + other.writes, self.rounds + other.rounds
        )

    @property
    def length(self) -> tuple[float, float]:
        """Orders windows by how long they take."""
        return self.reads.most_bytes + self.writes.most_bytes, self.rounds


@lru_cache(maxsize=1024)
def windows_in_part(
    geometry: Geometry, transfer_bytes: int, offset_bytes: int, depth: int
) -> tuple[WindowWork, ...]:
    """The mean work of a window of ``depth`` transfers of a stream, each writing by itself. A
    window that begins where the last one ended keeps its place against the chunks: each way
    of beginning is an orbit of windows with a mean of its own."""
    stream = _Stream(geometry, transfer_bytes, offset_bytes)
    orbits = gcd(depth, stream.period)
    return tuple(
        _mean(
            [
                stream.in_turns(orbit + at * orbits, depth)
                for at in _spread(stream.period // orbits, MOST_WINDOWS)
            ]
        )
        for orbit in _spread(orbits, MOST_ORBITS)
    )


@lru_cache(maxsize=256)
def mean_on_busiest(geometry: Geometry, transfer_bytes: int, offset_bytes: int) -> float:
    """Bytes that one transfer by itself moves on the slot that moves most, the mean over where
    it may begin. 0 where those places are too many to be counted."""
    stream = _Stream(geometry, transfer_bytes, offset_bytes)
    if stream.period > MOST_PLACES:
        return 0.0
    return sum(stream.on_busiest(first) for first in range(stream.period)) / stream.period


def _mean(works: list[WindowWork]) -> WindowWork:
    total, count = sum(works, WindowWork()), len(works)
    return WindowWork(total.reads.divided(count), total.writes.divided(count), total.rounds / count)


class _Stream:
    """Transfers one after the other; what each costs is counted once a period."""

    def __init__(self, geometry: Geometry, transfer_bytes: int, offset_bytes: int) -> None:
        self._geometry = geometry
        self._size = transfer_bytes
        self._offset = offset_bytes
        self._chunk = geometry.chunk_bytes or transfer_bytes
        pattern = rows(geometry.level, geometry.slots, geometry.layout)
        self._period_bytes = self._chunk * len(pattern[0].data) * len(pattern)
        self.period = self._period_bytes // gcd(self._period_bytes, transfer_bytes)
        self._costs: dict[int, _Tally] = {}

    def in_turns(self, first: int, depth: int) -> WindowWork:
        """The window that begins with transfer ``first``: at once or in the two batches that take
        longest; split in the middle, at the chunk boundary before it or after one."""
        middle = depth // 2
        ahead = (self._start(first + middle) % self._chunk) // self._size
        splits = sorted({split for split in (1, middle, middle - ahead) if 0 < split < depth})
        parts = [
            self._tally(first + low, high - low) for low, high in pairwise([0, *splits, depth])
        ]
        heads = list(accumulate(parts, _Tally.__add__))
        tails = list(accumulate(reversed(parts), _Tally.__add__))[-2::-1]
        serving = len(self._geometry.serving)
        ways = [heads[-1].work(serving)]
        ways += [
            head.work(serving) + tail.work(serving)
            for head, tail in zip(heads, tails, strict=False)
        ]
        return max(ways, key=lambda work: work.length)

    def on_busiest(self, index: int) -> int:
        return self._cost(index).on_busiest()

    def _tally(self, first: int, count: int) -> _Tally:
        found = _Tally(self._geometry.slots)
        whole, rest = divmod(count, self.period)
        if whole:
            for index in range(self.period):
                found += self._cost(index)
            found = found.times(whole)
        for index in range(first, first + rest):
            found += self._cost(index)
        return found

    def _start(self, index: int) -> int:
        return (self._offset + index * self._size) % self._period_bytes

    def _cost(self, index: int) -> _Tally:
        index %= self.period
        if index not in self._costs:
            self._costs[index] = _Tally(self._geometry.slots)
            _add_transfer(self._costs[index], self._geometry, self._start(index), self._size)
        return self._costs[index]


def _spread(count: int, most: int) -> list[int]:
    """0 to ``count``, or ``most`` of them. A step without common factors with the count takes
    them evenly from every part of what repeats in it."""
    if count <= most:
        return list(range(count))
    step = round(0.618 * count)
    while gcd(step, count) > 1:
        step += 1
    return [number * step % count for number in range(most)]


class _Tally:
    """What each slot does, being added up: in one row, because thousands are added for a curve,
    the bytes that each slot reads, those it writes, its reads, and its writes."""

    def __init__(self, slots: int) -> None:
        self._slots = slots
        self._counts = [0] * (4 * slots)
        self.whole = False
        """Whether there are whole stripes, which rows in part may wait for."""

    def __add__(self, other: _Tally) -> _Tally:
        found = _Tally(self._slots)
        found._counts = list(map(add, self._counts, other._counts))
        found.whole = self.whole or other.whole
        return found

    def times(self, count: int) -> _Tally:
        found = _Tally(self._slots)
        found._counts = [each * count for each in self._counts]
        found.whole = self.whole
        return found

    def move(self, read: frozenset[int], written: frozenset[int], size: int) -> None:
        for slots, sizes in ((read, 0), (written, self._slots)):
            for slot in slots:
                self._counts[sizes + slot] += size
                self._counts[sizes + 2 * self._slots + slot] += 1

    def _rows(self) -> list[list[int]]:
        wide = self._slots
        return [self._counts[start : start + wide] for start in range(0, 4 * wide, wide)]

    def on_busiest(self) -> int:
        read, write, _, _ = self._rows()
        return max(sum(pair) for pair in zip(read, write, strict=True))

    def work(self, serving: int) -> WindowWork:
        read, write, reads, writes = self._rows()
        return WindowWork(
            Phase(max(read), sum(read) / serving, max(reads)),
            Phase(max(write), sum(write) / serving, max(writes)),
            1 + any(reads) + (any(reads) and self.whole),
        )


def _add_transfer(tally: _Tally, geometry: Geometry, start: int, length: int) -> None:
    """One transfer by itself: whole stripes at once, the stripes at its ends row by row."""
    chunk = geometry.chunk_bytes or length
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    stripe = chunk * len(pattern[0].data)
    end = start + length
    first, last = -(-start // stripe), end // stripe
    if last > first:
        everyone = frozenset(geometry.serving)
        tally.move(frozenset(), everyone, (last - first) * chunk)
        tally.whole = True
    for number in range(start // stripe, -(-end // stripe)):
        if first <= number < last:
            continue
        base = number * stripe
        row = pattern[number % len(pattern)]
        for height, written in _bands(max(start - base, 0), min(end - base, stripe), chunk):
            read, moved = row_slots(row, written, geometry.missing)
            tally.move(read, moved, height)


def _bands(start: int, end: int, chunk: int) -> Iterator[tuple[int, range]]:
    """(height, positions written) of the rows of a stripe written from ``start`` to ``end``."""
    begin, stop = start % chunk, (end - 1) % chunk + 1
    first, last = start // chunk, (end - 1) // chunk
    edges = sorted({0, begin, stop, chunk})
    for low, high in pairwise(edges):
        written = range(first + (low < begin), last + (low < stop))
        if written:
            yield high - low, written


def row_slots(
    row: Row, written: range, missing: frozenset[int]
) -> tuple[frozenset[int], frozenset[int]]:
    """(slots read, slots written) for a row of which these positions are written.

    As ``stripes.py`` has it for a healthy row. A way of counting that needs a lost block is
    not open; where neither is, or two blocks are lost and not both merely left alone, all
    that survives is read (raid5.c handle_stripe_dirtying and need_this_block).
    """
    new = frozenset(row.data[position] for position in written)
    others, changed = frozenset(row.data) - new, new | frozenset(row.parity)
    if not others:
        return frozenset(), changed - missing
    if len(missing) > 1 and missing & changed:
        return (others | changed) - missing, changed - missing
    modify = inf if missing & changed else len(changed)
    reconstruct = inf if missing & others else len(others)
    return changed if modify < reconstruct else others, changed - missing
